"""Somebody at a page: the form that it offers is sent back as it stands, but for what they typed into it."""

import re
from html import unescape
from html.parser import HTMLParser
from urllib.parse import urljoin

from django.urls import reverse

from compliance.records.record import AT_THE_END, OF_A_SITE
from sites.models import Site
from tests.records.making import scope_of, sections_of

NBSP = "\N{NO-BREAK SPACE}"


class _Forms(HTMLParser):
    """The forms of a page that write, each with its address and what a browser would send of it."""

    def __init__(self):
        super().__init__()
        self.found: list[tuple[str, set[str], dict[str, list[str]]]] = []  # address, names, what is sent
        self._select = self._area = ""
        self._inside = False

    def handle_starttag(self, tag, attrs):
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._inside = given.get("method", "").lower() == "post"
            if self._inside:
                self.found.append((given.get("action", ""), set(), {}))
        elif self._inside and tag == "option" and self._select:
            sent = self.found[-1][2].setdefault(self._select, [])
            if "selected" in given or not sent:
                sent[:] = [given.get("value", "")]
        elif self._inside and given.get("name"):
            self._field(tag, given["name"], given)

    def _field(self, tag, name, given):
        self.found[-1][1].add(name)
        if tag == "select":
            self._select = name
        elif tag == "textarea":
            self._area = name
            self.found[-1][2][name] = [""]
        elif tag == "input" and ("checked" in given or given.get("type") not in ("radio", "checkbox", "file")):
            self.found[-1][2].setdefault(name, []).append(given.get("value", ""))

    def handle_data(self, data):
        if self._area:
            self.found[-1][2][self._area][0] += data.removeprefix("\n")

    def handle_endtag(self, tag):
        self._select = "" if tag == "select" else self._select
        self._area = "" if tag == "textarea" else self._area
        self._inside = self._inside and tag != "form"


def send(client, page: str, /, *args, having: str = "reason", query: str = "", **typed) -> str:
    """Open a page, type, and send its form that has the field `having`; gives what a refusal shows, as text."""
    path = reverse(page, args=args) + query
    forms = _Forms()
    forms.feed(client.get(path).content.decode())
    action, offered = next((action, sent) for action, names, sent in forms.found if having in names)
    return text_of(client.post(urljoin(path, action), offered | typed))


def text_of(answer) -> str:
    return " ".join(unescape(re.sub(r"(?s)<script.*?</script>|<[^>]*>", " ", answer.content.decode())).split())


def paper(world, *sections, **days) -> str:
    """What these sections of the record of the stock site say in print."""
    assert set(sections) <= {*OF_A_SITE, *AT_THE_END}
    site = Site.objects.select_related("area__business").get(pk=world.site.pk)
    return sections_of(scope_of(site, **days), *sections).replace(NBSP, " ")
