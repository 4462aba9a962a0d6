"""Choosing among readings and deviations."""

from datetime import datetime, time, timedelta
from functools import cached_property

from django import forms
from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from compliance.checks.models import Standing
from compliance.limits.models import Limit
from compliance.probes.models import Probe
from shared.bounds import not_come_yet, number_in
from shared.fields import DayField
from shared.keyset import Narrowing
from sites.access import areas_of, keys_of_areas, keys_of_sites
from sites.choosing import SiteField, SiteOffer
from sites.models import Area, Person, Role, Site

from .models import Deviation
from .queries import FEW_SITES, RARE, near_at, with_standing

OF_SITE = ("probe", "limit")
STANDINGS = [("", "Any"), *((s.value, s.label.capitalize()) for s in Standing)]


class SiteFilter(forms.Form):
    """By site and by days on that site's calendar."""

    site = SiteField(required=False, empty_label="All sites")
    first = DayField(label="From", required=False)
    last = DayField(label="To", required=False)

    def __init__(self, data, person: Person):
        super().__init__(data)
        offer = SiteOffer(person)
        self.person, self.sites, self.offer = person, offer.sites(), offer
        self.fields["site"].offer(offer, data)

    @property
    def chosen(self) -> dict:
        """Only what can be used: a mangled address shows more rather than an error."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value not in (None, "", False)}

    @property
    def one_site(self) -> bool:
        """Whether all rows are of one site, so that its name need not be said in each."""
        return "site" in self.chosen or self.offer.count(2) == 1

    @property
    def active(self) -> int:
        return len(self.chosen.keys() - {"state"})

    def between(self, field: str) -> Q:
        chosen, found = self.chosen, Q()
        if not {"first", "last"} & chosen.keys():
            return found
        zone = self._zone(chosen.get("site"))
        if "first" in chosen:
            found &= Q(**{f"{field}__gte": datetime.combine(chosen["first"], time(), zone)})
        if "last" in chosen:
            found &= Q(**{f"{field}__lt": datetime.combine(chosen["last"] + timedelta(days=1), time(), zone)})
        return found

    def ahead(self) -> str:
        """What is wrong with a period that lies ahead; empty where nothing is."""
        days = [self.chosen[name] for name in ("first", "last") if name in self.chosen]
        if not days:
            return ""
        zone = self._zone(self.chosen.get("site"))
        return not_come_yet(max(days), timezone.now().astimezone(zone).date())

    def _zone(self, site: Site | None):
        site = site or self.sites.first()
        return site.zone if site else timezone.get_default_timezone()


class ReadingFilter(SiteFilter):
    probe = forms.ModelChoiceField(Probe.objects.none(), required=False, empty_label="All probes")
    limit = forms.ModelChoiceField(Limit.objects.none(), required=False, empty_label="All limits")
    standing = forms.ChoiceField(choices=STANDINGS, required=False)
    deviations = forms.BooleanField(label="Limit not met", required=False)

    field_order = ["site", "probe", "limit", "standing", "first", "last", "deviations"]
    template_name = "readings/filter.html"
    beside = ("site", *OF_SITE)  # which its template places itself

    def __init__(self, data, person: Person):
        super().__init__(data, person)
        asked = self.asked_site
        sites = self.sites if asked is None else self.sites.filter(pk=asked)
        read_there = Q(placements__site__in=sites.order_by().values("pk"))
        self.fields["probe"].queryset = Probe.objects.filter(read_there).distinct().order_by("code")
        limits = Limit.objects.filter(site__in=sites.order_by().values("pk")).select_related("site")
        self.fields["limit"].queryset = limits.order_by("site__name", "title")
        if sites is self.sites:
            self.fields["limit"].label_from_instance = lambda limit: f"{limit.title}, {limit.site}"
        if self.fields["site"].many and asked is None:
            self._offer_none_but_the_asked()

    @property
    def asked_site(self) -> int | None:
        return number_in(self["site"].value())

    def _offer_none_but_the_asked(self) -> None:
        """Of so many sites probes and limits are offered once a site is chosen."""
        for name in OF_SITE:
            number = number_in(self.data.get(name))
            if number is None:
                del self.fields[name]
            else:
                self.fields[name].queryset = self.fields[name].queryset.filter(pk=number)

    @property
    def of_site(self) -> list[forms.BoundField]:
        return [self[name] for name in OF_SITE if name in self.fields]

    @cached_property
    def of_few(self) -> list[int]:
        """The sites whose readings are asked for, where they are few."""
        sites = [self.chosen["site"].pk] if "site" in self.chosen else keys_of_sites(self.person)[: FEW_SITES + 1]
        return sites if len(sites) <= FEW_SITES else []

    @property
    def narrowing(self) -> Narrowing | None:
        """Where one is worth while: on SQLite, for several sites of many more, of which none is chosen."""
        chosen = {"site", *OF_SITE} & self.chosen.keys()
        if chosen or self.few or connection.vendor != "sqlite":
            return None
        sites = keys_of_sites(self.person)
        return near_at(sites) if 2 <= len(sites) < Site.objects.count() / 2 else None

    @property
    def few(self) -> bool:
        """Whether only readings are asked for that few spans hold."""
        return self.chosen.get("standing") in RARE

    def narrow(self, readings: QuerySet) -> QuerySet:
        chosen = self.chosen
        given = {name: chosen[name] for name in ("site", "probe") if name in chosen}
        readings = readings.filter(self.between("taken_at"), **given)
        if "limit" in chosen:
            readings = readings.filter(limit_version__limit=chosen["limit"], site=chosen["limit"].site_id)
        if "standing" in chosen:
            readings = with_standing(readings, chosen["standing"], self.of_few)
        if "deviations" in chosen:
            readings = readings.filter(Exists(Deviation.objects.filter(reading=OuterRef("pk"))))
        return readings


class DeviationFilter(SiteFilter):
    """`area`: its open sites, as its page counts them; offered to those with a role for an area."""

    state = forms.ChoiceField(choices=[("open", "Open"), ("done", "Done")], required=False, widget=forms.HiddenInput)
    area = forms.ModelChoiceField(Area.objects.none(), required=False, label="Open sites of", empty_label="Any area")
    field_order = ["site", "area", "first", "last"]

    def __init__(self, data, person: Person):
        super().__init__(data, person)
        self.fields["area"].queryset = areas_of(person, Role.READER).distinct()
        if not keys_of_areas(person, Role.READER):
            del self.fields["area"]

    def narrow(self, deviations: QuerySet) -> QuerySet:
        chosen = self.chosen
        given = {"reading__site": chosen["site"]} if "site" in chosen else {}
        if "area" in chosen:
            given |= {"reading__site__area": chosen["area"], "reading__site__closed": False}
        return deviations.filter(self.between("reading__taken_at"), **given)
