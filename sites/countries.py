"""Countries and their parts whose public holidays are known, by ISO 3166 code."""

import re
from functools import cache

from holidays import list_supported_countries
from holidays.registry import COUNTRIES

# By its ISO 3166 code, in the words that the library names its modules with.
NAMES = {codes[1]: module.replace("_", " ").title() for module, codes in COUNTRIES.items()}


def country_choices() -> list[tuple[str, str]]:
    """Countries by name."""
    return sorted(NAMES.items(), key=lambda each: each[1])


def names_country(text: str, country: str) -> bool:
    """Whether a text names the country with this code."""
    name = NAMES.get(country)
    return name is not None and re.search(rf"\b{re.escape(name)}\b", text, re.IGNORECASE) is not None


@cache
def parts_of(country: str) -> tuple[str, ...] | None:
    """The parts of a country with holidays of their own; None where the country is not known."""
    return tuple(list_supported_countries(include_aliases=False).get(country, ())) if country in NAMES else None
