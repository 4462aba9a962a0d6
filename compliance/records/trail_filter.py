"""Choosing among the entries of the trail, and who may see which."""

import re

from django import forms
from django.db.models import Q, QuerySet

from compliance.readings.filters import SiteFilter
from shared.audit.models import Entry
from sites.access import areas_of
from sites.models import Person, Role

from .trail_words import CODES, PARTS, PRIVATE


def entries_seen_by(person: Person, sites: QuerySet) -> QuerySet[Entry]:
    """Those of these sites; with a role for an area also those of its business that belong to no site."""
    businesses = areas_of(person, Role.READER).order_by().values("business")
    of_business = Q(site_id=None, business_id__in=businesses)
    return Entry.objects.filter(Q(site_id__in=sites.order_by().values("pk")) | of_business).exclude(action__in=PRIVATE)


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
