"""What a page offers to look at next: every choice of its filters, and every link that says in its query what to show."""

import re
from dataclasses import dataclass, field
from datetime import timedelta
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urlencode, urlsplit

from django.utils import timezone

WORD = re.compile(
    r"[a-z_-]{1,20}"
)  # others are keys of records, days, or where a page begins: one of them is like another
MOST = 5  # of what one word of a query may be
LONG_AGO = 60  # days, for a day that is asked for
FILLED = {"text": "a", "search": "a", "number": "1"}


@dataclass
class Offers(HTMLParser):
    """Reads a page. `found` has the addresses, each with its query."""

    path: str
    found: list[str] = field(default_factory=list)

    def __post_init__(self):
        super().__init__()
        self._form: dict[str, list[str]] | None = None
        self._defaults: dict[str, str] = {}
        self._action = self._select = ""

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        for name in ("href", "hx-get"):
            self._link(told.get(name) or "")
        if tag == "form" and (told.get("method") or "get").lower() == "get":
            self._form, self._defaults, self._action = {}, {}, told.get("action") or self.path
        elif self._form is not None:
            self._field(tag, told)

    def handle_endtag(self, tag):
        if tag == "select":
            self._select = ""
        elif tag == "form" and self._form is not None:
            self._finish()

    def _link(self, target: str) -> None:
        parts = urlsplit(target)
        if parts.query and not parts.netloc:
            self.found.append(f"{parts.path or self.path}?{parts.query}")

    def _field(self, tag: str, told: dict) -> None:
        name, kind = told.get("name", ""), told.get("type", "text")
        if tag == "select" and name:
            self._select = name
            self._form.setdefault(name, [])
        elif tag == "option" and self._select:
            self._option(told)
        elif tag == "input" and name:
            if kind == "hidden" or "checked" in told:
                self._defaults[name] = told.get("value") or ""
            else:
                self._form.setdefault(name, []).append(self._filled(kind, told))

    def _option(self, told: dict) -> None:
        value = told.get("value") or ""
        if "selected" in told:
            self._defaults[self._select] = value
        self._form[self._select].append(value)

    def _filled(self, kind: str, told: dict) -> str:
        if kind == "date":
            return (timezone.now() - timedelta(days=LONG_AGO)).date().isoformat()
        return told.get("value") or FILLED.get(kind, "on")

    def _finish(self) -> None:
        for name, values in self._form.items():
            for value in values[: MOST + 1]:  # the first is often to choose nothing
                if value and value != self._defaults.get(name):
                    self.found.append(f"{urlsplit(self._action).path}?{urlencode(self._defaults | {name: value})}")
        self._form = None


def offered(path: str, html: str) -> dict[tuple, str]:
    """The addresses, each by what tells it from others: of those that differ in a key or a day, one."""
    reader = Offers(path)
    reader.feed(html)
    found: dict[tuple, str] = {}
    for address in reader.found:
        found.setdefault(kind_of(address), address)
    return found


def kind_of(address: str) -> tuple:
    """What tells an address from others, but for keys and days."""
    parts = urlsplit(address)
    told = sorted((name, value if WORD.fullmatch(value) else "") for name, value in parse_qsl(parts.query))
    return (parts.path, *told)
