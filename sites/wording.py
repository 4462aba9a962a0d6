"""What was changed of a site and of a business, in words: each change with what it is about, what it was and what it is."""

from collections.abc import Iterable, Iterator
from datetime import tzinfo

from django.db.models import BooleanField
from django.utils.html import format_html

from shared.dated import SettingChange, changes
from shared.templatetags.noughtbook import when

from .models import Area, Business, BusinessRules, Site, SiteSettings

Words = tuple[str, str, str]
LABELS = {
    "area_id": "area",
    "time_zone": "time zone",
    "country": "country",
    "closed": "closed for good",
    "reliability_target": "target for advice",
    "decision_rule": "rule for verdicts",
    "review_days": "working days to review a day in",
}
YES = ((True, "yes"), (False, "no"))


def site_changes(site: Site) -> Iterator[tuple[SettingChange, Words]]:
    """The first first. One query, or two."""
    made = changes(_with_names(SiteSettings.objects.filter(site=site)), Site.dated)
    areas = {}
    if any(each.name == "area_id" for each in made):
        areas = dict(Area.objects.filter(business=site.area.business_id).values_list("pk", "name"))
    return ((each, _words(Site, each, areas if each.name == "area_id" else {})) for each in made)


def business_changes(business: Business) -> Iterator[tuple[SettingChange, Words]]:
    """The first first. One query."""
    made = changes(_with_names(BusinessRules.objects.filter(business=business)), Business.dated)
    return ((each, _words(Business, each, {})) for each in made)


def _with_names(facts):
    return facts.order_by("pk").select_related("recorded_by").prefetch_related("recorded_by__names")


def _words(model, change: SettingChange, shown: dict) -> Words:
    field = model._meta.get_field(change.name)
    label = LABELS.get(change.name) or str(field.verbose_name)
    shown = shown or dict(field.choices or (YES if isinstance(field, BooleanField) else ()))
    return label, *(_said(shown, value) for value in (change.old, change.new))


def _said(shown: dict, value) -> str:
    return str(shown.get(value, value)) if value not in ("", None) else "nothing"


def lines_of(made: Iterable[tuple[SettingChange, Words]], zone: tzinfo, most: int = 30) -> list[dict]:
    """The last changes, the newest first, as a page lists them."""
    newest = reversed(list(made)[-most:])
    return [
        {"title": f"{label.capitalize()}: {new}", "meta": _about(each, old, zone)} for each, (label, old, new) in newest
    ]


def _about(change: SettingChange, old: str, zone: tzinfo):
    fact = change.fact
    by = fact.name_of() if fact.recorded_by else "whoever runs Noughtbook"
    since = when(change.since, zone) if change.since else "the start"
    verb, back = ("Corrected", format_html(", back to {}", since)) if fact.corrects else ("Changed", "")
    why = format_html(": {}", fact.reason) if fact.reason else ""
    return format_html("Was {}. {} {} by {}{}{}", old, verb, when(fact.recorded_at, zone), by, back, why)
