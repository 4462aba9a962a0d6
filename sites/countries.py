"""Countries and their parts whose public holidays are known, by ISO 3166 code."""

import re
from functools import cache


@cache
def names() -> dict[str, str]:
    """Each by its ISO 3166 code, in the words that the library names its modules with."""
    from holidays.registry import COUNTRIES

    return {codes[1]: module.replace("_", " ").title() for module, codes in COUNTRIES.items()}


def country_choices() -> list[tuple[str, str]]:
    """Countries by name."""
    return sorted(names().items(), key=lambda each: each[1])


def names_country(text: str, country: str) -> bool:
    """Whether a text names the country with this code."""
    name = names().get(country)
    return name is not None and re.search(rf"\b{re.escape(name)}\b", text, re.IGNORECASE) is not None


@cache
def parts_of(country: str) -> tuple[str, ...] | None:
    """The parts of a country with holidays of their own; None where the country is not known."""
    from holidays import list_supported_countries

    return tuple(list_supported_countries(include_aliases=False).get(country, ())) if country in names() else None
