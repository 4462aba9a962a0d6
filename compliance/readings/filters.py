"""Choosing among readings and deviations."""

from datetime import datetime, time, timedelta

from django import forms
from django.db.models import Q, QuerySet
from django.utils import timezone

from compliance.checks.models import Standing
from compliance.limits.models import Limit
from compliance.probes.models import Probe
from shared.bounds import not_come_yet, number_in
from shared.fields import DayField
from sites.access import areas_of, sites_of
from sites.models import Area, Person, Role, Site

from .models import Deviation
from .queries import RARE, with_standing

STANDINGS = [("", "Any"), *((s.value, s.label.capitalize()) for s in Standing)]


class SiteFilter(forms.Form):
    """By site and by days on that site's calendar."""

    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="All sites")
    first = DayField(label="From", required=False)
    last = DayField(label="To", required=False)

    def __init__(self, data, person: Person):
        super().__init__(data)
        self.person, self.sites = person, sites_of(person).order_by("name")
        self.fields["site"].queryset = self.sites

    @property
    def chosen(self) -> dict:
        """Only what can be used: a mangled address shows more rather than an error."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value not in (None, "", False)}

    @property
    def one_site(self) -> bool:
        """Whether all rows are of one site, so that its name need not be said in each."""
        return "site" in self.chosen or self.sites[:2].count() == 1

    @property
    def active(self) -> int:
        return len(self.chosen.keys() - {"state"})

    def between(self, field: str) -> Q:
        chosen, found = self.chosen, Q()
        zone = self._zone(chosen.get("site"))
        if "first" in chosen:
            found &= Q(**{f"{field}__gte": datetime.combine(chosen["first"], time(), zone)})
        if "last" in chosen:
            found &= Q(**{f"{field}__lt": datetime.combine(chosen["last"] + timedelta(days=1), time(), zone)})
        return found

    def ahead(self) -> str:
        """What is wrong with a period that lies ahead; empty where nothing is."""
        zone = self._zone(self.chosen.get("site"))
        days = [self.chosen[name] for name in ("first", "last") if name in self.chosen]
        return not_come_yet(max(days), timezone.now().astimezone(zone).date()) if days else ""

    def _zone(self, site: Site | None):
        site = site or self.sites.first()
        return site.zone if site else timezone.get_default_timezone()


class ReadingFilter(SiteFilter):
    probe = forms.ModelChoiceField(Probe.objects.none(), required=False, empty_label="All probes")
    limit = forms.ModelChoiceField(Limit.objects.none(), required=False, empty_label="All limits")
    standing = forms.ChoiceField(choices=STANDINGS, required=False)
    deviations = forms.BooleanField(label="Limit not met", required=False)

    field_order = ["site", "probe", "limit", "standing", "first", "last", "deviations"]

    def __init__(self, data, person: Person):
        super().__init__(data, person)
        asked = number_in(data.get("site"))
        sites = self.sites if asked is None else self.sites.filter(pk=asked)
        read_there = Q(placements__site__in=sites.order_by().values("pk"))
        self.fields["probe"].queryset = Probe.objects.filter(read_there).distinct().order_by("code")
        limits = Limit.objects.filter(site__in=sites.order_by().values("pk")).select_related("site")
        self.fields["limit"].queryset = limits.order_by("site__name", "title")
        if sites is self.sites:
            self.fields["limit"].label_from_instance = lambda limit: f"{limit.title}, {limit.site}"

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
            readings = with_standing(readings, chosen["standing"])
        return readings.filter(pk__in=Deviation.objects.values("reading")) if "deviations" in chosen else readings


class DeviationFilter(SiteFilter):
    """`area`: its open sites, as its page counts them; offered to those with a role for an area."""

    state = forms.ChoiceField(choices=[("open", "Open"), ("done", "Done")], required=False, widget=forms.HiddenInput)
    area = forms.ModelChoiceField(Area.objects.none(), required=False, label="Open sites of", empty_label="Any area")
    field_order = ["site", "area", "first", "last"]

    def __init__(self, data, person: Person):
        super().__init__(data, person)
        self.fields["area"].queryset = areas_of(person, Role.READER).distinct()
        if not self.fields["area"].queryset:
            del self.fields["area"]

    def narrow(self, deviations: QuerySet) -> QuerySet:
        chosen = self.chosen
        given = {"reading__site": chosen["site"]} if "site" in chosen else {}
        if "area" in chosen:
            given |= {"reading__site__area": chosen["area"], "reading__site__closed": False}
        return deviations.filter(self.between("reading__taken_at"), **given)
