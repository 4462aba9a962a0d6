"""Form widgets of our own."""

from datetime import UTC, datetime, tzinfo

from django import forms


class TapNumber(forms.TextInput):
    """A large box for one number from a display, its unit beside it, and a key for the sign where a phone has none.

    It stays a text box: people type a comma, a point or any minus sign, and `shared.units.parse` reads them all.
    """

    template_name = "django/forms/widgets/tap_number.html"

    def __init__(self, unit: str = "", attrs: dict[str, object] | None = None, *, signed: bool = True) -> None:
        super().__init__({"inputmode": "decimal", "autocomplete": "off", "enterkeyhint": "done", **(attrs or {})})
        self.unit, self.signed = unit, signed

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        context["widget"].update(unit=self.unit, signed=self.signed)
        return context


class ClockTime(forms.DateTimeInput):
    """A time on the clock of a `zone`; of one that it showed twice it asks which, and gives “2025-10-26T02:30 second”."""

    template_name = "django/forms/widgets/clock_time.html"
    zone: tzinfo = UTC

    def value_from_datadict(self, data, files, name):
        value, which = super().value_from_datadict(data, files, name), data.get(f"{name}_which")
        return f"{value} {which}" if value and which in TWICE else value

    def get_context(self, name, value, attrs):
        typed, which = which_of_two(value)
        context = super().get_context(name, typed, attrs)
        local = _read(typed)
        if local and shown_twice(local, self.zone):
            which = which if isinstance(value, str) else TWICE[local.fold]
            context["widget"].update(twice=TWICE, which=which)
        return context


TWICE = ("first", "second")


def which_of_two(value: object) -> tuple:
    """What `ClockTime` gave, apart: the time, and which of two it is, if somebody said."""
    typed, _, which = value.rpartition(" ") if isinstance(value, str) else ("", "", "")
    return (typed, which) if which in TWICE else (value, "")


def shown_twice(local: datetime, zone: tzinfo) -> bool:
    first, second = (local.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
    return first > second


def _read(typed: datetime | str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(typed) if isinstance(typed, str) else typed
    except ValueError:
        return None


class Suggested(forms.TextInput):
    """A text box that offers words. Where these are to be looked up, `words` gives them when it is drawn."""

    template_name = "django/forms/widgets/suggested.html"

    def __init__(self, words, attrs=None):
        super().__init__({"autocomplete": "off", **(attrs or {})})
        self.words = words

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        list_id = f"{context['widget']['attrs'].get('id', name)}_words"
        context["widget"]["attrs"]["list"] = list_id
        context["widget"].update(words=self.words() if callable(self.words) else self.words, list_id=list_id)
        return context


class SearchedMenu(forms.Select):
    """A menu of what was found, with a box that searches; without scripts the button of the form does.

    `url` gives the options for the words in the box, which HTMX puts into the menu. One that was found alone is chosen. One that
    was chosen before other words were typed is not meant any more, unless it is no matter of search (`besides`).
    """

    template_name = "django/forms/widgets/searched_menu.html"

    besides: frozenset[str] = frozenset()

    def __init__(self, words: str, found: list[tuple[str, str]], url: str, seal: str) -> None:
        super().__init__()
        self.words, self.found, self.url, self.seal = words, found, url, seal
        self.keep([], "")

    def keep(self, kept: list, empty: str) -> None:
        """What the menu has beside what was found, and what it says while nothing is chosen."""
        self.choices = [("", searched_words(self.words, self.found) or empty), *kept]
        listed = [value for value, _ in kept]
        grouped = [value for _, group in kept if isinstance(group, list) for value, _ in group]
        self.choices += [choice for choice in self.found if choice[0] not in (*listed, *grouped)]

    def value_from_datadict(self, data, files, name):
        value, found = super().value_from_datadict(data, files, name), [value for value, _ in self.found]
        if value and (not self.words or value in found or value in self.besides):
            return value
        return found[0] if len(found) == 1 else None

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        context["widget"].update(words=self.words, url=self.url, seal=self.seal)
        return context


def searched_words(words: str, found: list) -> str:
    """What the first line of a searched menu says."""
    if not words:
        return ""
    return f"Choose one of {len(found)} found" if found else "Nothing found"
