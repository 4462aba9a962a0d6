"""Choosing among the entries of the trail, and who may see which."""

import re

from django import forms
from django.db.models import Q, QuerySet

from compliance.readings.filters import SiteFilter
from compliance.readings.queries import near_at
from shared.audit.models import Entry
from shared.key_lists import among
from shared.keyset import Narrowing
from sites.access import areas_of
from sites.models import Person, Role

from .trail_words import CODES, PARTS


def seen_by(person: Person, sites: list[int]) -> Narrowing:
    """Of all entries those of these sites; with a role for an area also those of its business that belong to no site.

    Each part by an index of its own, and of it no more than may be on the page.
    """
    businesses = list(areas_of(person, Role.READER).order_by().values_list("business", flat=True))
    at_sites = near_at(sites, "site_id", "at")

    def narrow(entries: QuerySet[Entry], newest: bool, most: int) -> QuerySet[Entry]:
        way = "-" if newest else ""
        of_none = entries.filter(site_id=None, business_id__in=businesses).order_by(f"{way}at", f"{way}pk")
        parts = at_sites(entries, newest, most), of_none[:most]
        return Entry.objects.filter(pk__in=among({key for part in parts for key in part.values_list("pk", flat=True)}))

    return narrow


class TrailFilter(SiteFilter):
    """By who, what, when and which record; a mangled address shows more rather than an error."""

    who = forms.CharField(required=False, max_length=120, label="Who", help_text="A part of the name.")
    what = forms.ChoiceField(required=False, choices=[("", "Anything"), *PARTS.items()], label="What")
    record = forms.CharField(
        required=False,
        max_length=120,
        label="Which record",
        help_text="Its number, such as R12, C7, E3 or D5, or a part of what it is called.",
    )
    field_order = ["site", "who", "what", "record", "first", "last"]

    def narrow(self, entries: QuerySet[Entry]) -> QuerySet[Entry]:
        chosen = self.chosen
        entries = entries.filter(self.between("at"))
        if "site" in chosen:
            entries = entries.filter(site_id=chosen["site"].pk)
        if "who" in chosen:
            entries = entries.filter(actor__icontains=chosen["who"])
        if "what" in chosen:
            entries = entries.filter(action__startswith=f"{chosen['what']}")
        return entries.filter(about(chosen["record"])) if "record" in chosen else entries


def about(text: str) -> Q:
    """What is meant by the number of a record, or by a part of what it is called."""
    if (code := re.fullmatch(r"\s*([RCED])\s?(\d{1,18})\s*", text, re.IGNORECASE)) is None:
        return Q(subject__icontains=text.strip())
    return Q(subject_type=CODES[code[1].upper()], subject_id=int(code[2]))
