"""What nobody types on purpose, and where it can be sent: every field that a page shows, every parameter that is read."""

import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# By a name that a failure can be told by. A list is sent as several values under one name, bytes as they are.
TIMES = {
    "year 1": "0001-01-01T00:00",
    "day of year 1": "0001-01-01",
    "year 1899": "1899-12-31T23:59",
    "day of 1899": "1899-12-31",
    "year 9999": "9999-12-31T23:59",
    "last day": "9999-12-31",
    "day of 2101": "2101-01-01",
}
ANYTHING = {
    "5000 digits": "9" * 5000,
    "5000 zeros": "0" * 5000,
    "20 digits": "9" * 20,
    "10 digits": "9" * 10,
    "other digits": "٣٤",
    "NUL": "a\0b",
    "words": "x",
    "blank": "",
    "negative": "-1",
    "no key": "-" * 36,
    "list": ["1", "x", ""],
    "surrogate": b"\xed\xa0\x80",  # is no UTF-8
}
TEXTS = {
    "below absolute zero": "-300",
    "1e400": "1e400",
    "1e2": "1e2",
    "tiny": "0." + "0" * 400 + "1",
    "NaN": "NaN",
    "infinity": "-Infinity",
    "emoji": "\N{THERMOMETER}\N{VARIATION SELECTOR-16}\N{COOKING}\N{ZERO WIDTH JOINER}",
    "line break": "one\r\ntwo",
    "control": "bell\x07 escape\x1b[31m",
    "very long": "long words " * 2000,
    "percent": "%s%d{0}{{ 1 }}",
    "markup": "<b a=\"'>&amp;",
}
CATALOGUE: dict[str, str | bytes | list[str]] = TIMES | ANYTHING | TEXTS
BY_KIND = {
    "date": TIMES | ANYTHING,
    "datetime-local": TIMES | ANYTHING,
    "time": TIMES | ANYTHING,
    "hidden": CATALOGUE,
    "select": ANYTHING,
    "radio": ANYTHING,
    "checkbox": ANYTHING,
    "button": ANYTHING,
}
LIKELY = {
    "date": "2026-03-11",
    "datetime-local": "2026-03-01T08:00",
    "time": "08:00",
    "email": "new.person@example.test",
}
TAKEN = re.compile(
    r"""(?:GET|POST)(?:\.get|\.getlist|\.pop)?[\[(]\s*["'](\w+)["']|["'](\w+)["'] in request\.(?:GET|POST)"""
)


@cache
def parameters_read() -> list[str]:
    """The names of all parameters that the source takes from a request by hand, and those of its lists."""
    found = {"page", "after", "before", "from", "next", "day", "q", "code", "use", "first", "last", "probe", "limit"}
    for room in ("compliance", "sites", "shared"):
        for path in (ROOT / room).rglob("*.py"):
            found |= {one or other for one, other in TAKEN.findall(path.read_text())}
    return sorted(found)


class _Forms(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found: list[tuple[str, str, dict, dict]] = []
        self._select, self._options = "", []

    def handle_starttag(self, tag, attrs):
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.found.append((given.get("method", "get").lower(), given.get("action", ""), {}, {}))
        elif tag == "option":
            self._options.append((given.get("value", ""), "selected" in given))
        elif self.found and given.get("name"):
            self._field(tag, given["name"], given.get("type", "text"), given)

    def _field(self, tag, name, kind, given):
        if tag == "select":
            self._select, self._options = name, []
        elif tag == "textarea":
            self._put(name, "text", "Typed by hand")
        elif kind in ("radio", "checkbox"):
            if "checked" in given or name not in self.found[-1][2]:
                self._put(name, kind, given.get("value", ""))
        elif tag in ("input", "button") and kind != "file":
            self._put(name, "button" if tag == "button" else kind, given.get("value") or LIKELY.get(kind, "7"))

    def handle_endtag(self, tag):
        if tag == "select" and self._select:
            options = sorted(self._options, key=lambda option: not option[1])
            self._put(self._select, "select", next((value for value, _ in options if value), ""))
            self._select = ""

    def _put(self, name, kind, value):
        *_, fields, kinds = self.found[-1]
        fields[name], kinds[name] = value, kind


def forms_in(html: str) -> list[tuple[str, str, dict[str, str], dict[str, str]]]:
    """Of each form of a page: its method, its address, its fields with what might be in them, and the kind of each."""
    parser = _Forms()
    parser.feed(html)
    return parser.found
