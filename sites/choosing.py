"""Choosing one of many sites: a menu where they are few, and a box that searches where they are many."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from urllib.parse import urlencode

from django import forms
from django.db.models import Q, QuerySet
from django.urls import reverse

from shared.bounds import number_in
from shared.seal import seal_of
from shared.widgets import SearchedMenu

from .access import areas_of, keys_of_sites, sites_of
from .models import Person, Role, Site

MENU = 30  # sites that a menu lists; where there are more, they are searched for
FOUND = 20  # sites that one search shows
LONGEST = 80  # characters of a search
NOT_CHOSEN = "Type part of a name above"


def _of_business(person: Person, business: int | None) -> QuerySet[Site]:
    """Whoever manages a site may move a probe to any other of the business."""
    managed = sites_of(person, Role.MANAGER).values("area__business")
    return Site.objects.filter(area__business=business, closed=False).filter(area__business__in=managed)


def _open(role: int, person: Person, of: int | None) -> QuerySet[Site]:
    return sites_of(person, role).filter(closed=False)


# By the role held there.
HELD = {"open": Role.READER, "recording": Role.COOK, "managed": Role.MANAGER}
SCOPES: Mapping[str, Callable[[Person, int | None], QuerySet[Site]]] = {
    "seen": lambda person, of: sites_of(person),
    **{name: partial(_open, role) for name, role in HELD.items()},
    "supervised": lambda person, of: Site.objects.filter(area__in=areas_of(person), closed=False),
    "area": lambda person, of: sites_of(person).filter(area=of, closed=False),
    "business": _of_business,
}


@dataclass(frozen=True, slots=True)
class SiteOffer:
    """The sites that a form offers to a person. `of`: the area or the business that the scope is about; `but`: none of these."""

    person: Person
    scope: str = "seen"
    of: int | None = None
    but: int | None = None

    def sites(self) -> QuerySet[Site]:
        found = SCOPES[self.scope](self.person, self.of).exclude(pk=self.but or 0)
        return found.select_related("area").order_by("name", "pk")

    def are_many(self) -> bool:
        return self.count(MENU + 1) > MENU

    def count(self, most: int) -> int:
        """How many there are, counted up to so many. No query of its own where the page knows the person's sites."""
        if self.person.answers is None or self.but or self.scope not in ("seen", *HELD):
            return self.sites()[:most].count()
        role, is_open = HELD.get(self.scope, Role.READER), self.scope in HELD
        return len(keys_of_sites(self.person, role, only_open=is_open)[:most])

    def search(self, words: str) -> list[Site]:
        """Those whose name or area has every one of the words; none for no words."""
        found = self.sites()
        for word in words.split():
            found = found.filter(Q(name__icontains=word) | Q(area__name__icontains=word))
        return list(found[:FOUND]) if words.split() else []

    def url(self, field: str) -> str:
        asked = {"field": field, "scope": self.scope} | ({} if self.of is None else {"of": self.of})
        return f"{reverse('site_choices')}?{urlencode(asked)}"


def words_in(data: Mapping | None, field: str) -> str:
    """The words that were typed into the box of this field."""
    return ((data or {}).get(f"{field}_q") or "").strip()[:LONGEST]


def searched_menu(offer: SiteOffer, data: Mapping | None, field: str) -> SearchedMenu:
    words = words_in(data, field)
    found = [choice_of(site, field) for site in offer.search(words)]
    return SearchedMenu(words, found, offer.url(field), seal_of(offer.person))


def choice_of(site: Site, field: str) -> tuple[str, str]:
    """A value and its label. A role is held at a place, which is a site or an area."""
    return (f"site-{site.pk}" if field == "place" else str(site.pk)), f"{site.name} ({site.area.name})"


class SiteField(forms.ModelChoiceField):
    """One of the sites that are offered."""

    many = False

    def __init__(self, **kwargs):
        super().__init__(Site.objects.none(), **kwargs)

    def offer(self, offer: SiteOffer, data: Mapping | None = None, *, chosen: str | int | None = None) -> None:
        """`chosen`: the number of the site that an unbound form begins with."""
        self.queryset, self.many = offer.sites(), offer.are_many()
        if not self.many:
            return
        number = number_in(str((data or {}).get("site") or chosen or ""))
        kept = self.queryset.filter(pk=number) if number is not None else ()
        self.widget = searched_menu(offer, data, "site")
        self.widget.keep([choice_of(site, "site") for site in kept], self.empty_label or NOT_CHOSEN)
        self.error_messages["required"] = "Search for a site, and choose it."


class ChooseSite(forms.Form):
    """Which site a page is about."""

    site = SiteField(empty_label="Choose a site")

    def __init__(self, data: Mapping | None, offer: SiteOffer):
        super().__init__(data or None)
        self.fields["site"].offer(offer, data)
