"""What the words in a file stand for: sites, probes, limits, people and times, looked up once and then remembered."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone

from compliance.appliances.models import Appliance
from compliance.limits.models import Direction, LimitVersion
from compliance.probes.models import Event, Placement, Probe
from compliance.readings.limit_evaluation import LONGEST_HOLD_S, Track, read_typed
from shared.bounds import EARLIEST, number_in
from shared.key_lists import among
from shared.reasons import holds_word
from shared.units import Unit
from sites.access import sites_of
from sites.models import Person, Role, Site

from .cells import unguarded
from .layout import Mentioned

FIRST = datetime.combine(EARLIEST, time())
BEYOND = 10**9
LONGEST_ITEM, LONGEST_NOTE, LONGEST_REASON = 120, 4000, 500


class Refused(Exception):
    """One cell cannot be used; says why and what to do."""


class ReadOnce(dict):
    """Remembers what `read` made of a text; what it refuses is asked again."""

    def __init__(self, read: Callable[[str], object]):
        self.read = read

    def __missing__(self, text):
        self[text] = found = self.read(text)
        return found


class Names:
    """Finds things by what people call them: exactly, or else whatever the case."""

    def __init__(self, pairs: Iterable[tuple[str, object]], none: str, several: str):
        self.none, self.several = none, several
        self.exact: dict[str, list] = defaultdict(list)
        self.folded: dict[str, list] = defaultdict(list)
        for name, thing in pairs:
            self.exact[name].append(thing)
            self.folded[name.casefold()].append(thing)

    def __call__(self, text: str):
        name = unguarded(text.strip())
        found = self.exact.get(name) or self.folded.get(name.casefold()) or []
        if len(found) != 1:
            raise Refused((self.several if found else self.none).format(name[:60]))
        return found[0]


@dataclass(frozen=True, slots=True)
class KnownProbe:
    """A probe; from `quiet_from` on, at `quiet_site`, only its range can cast a doubt."""

    pk: int
    low: int
    high: int
    quiet_from: datetime
    quiet_site: int | None
    track: Track


@dataclass(frozen=True, slots=True)
class Version:
    pk: int
    bottom: int
    top: int
    hold_s: int
    within_s: int
    record: LimitVersion


class KnownLimit:
    """A limit with its versions; `since` is when the last one came into force."""

    __slots__ = ("pk", "code", "starts", "versions", "since", "last")

    def __init__(self, pk: int, code: str, records: list[LimitVersion]):
        self.pk, self.code = pk, code
        self.starts = [naive(v.effective_from) for v in records]
        self.versions = [_version(v) if v.in_force else None for v in records]
        in_use = bool(records) and records[-1].in_force
        self.since, self.last = (self.starts[-1], self.versions[-1]) if in_use else (datetime.max, None)

    def at(self, moment: datetime) -> Version:
        turn = bisect_right(self.starts, moment)
        version = self.versions[turn - 1] if turn else None
        if version is None:
            raise Refused(f"limit “{self.code}” was not in force at that time")
        return version


class Clock:
    """Reads times as a site's clock shows them; gives naive UTC."""

    def __init__(self, zone: ZoneInfo, now: datetime):
        self.zone, self.now = zone, now
        self.shifts = ReadOnce(self._shift)

    def read(self, text: str) -> datetime:
        if len(text) <= 10:
            raise Refused(self._unread(text))
        try:
            at = datetime.fromisoformat(text)
            if at.tzinfo is None:
                shift = self.shifts[at.toordinal()]
                at = at - shift if shift is not None else self._on_changing_day(at)
            else:
                at = naive(at)
        except (ValueError, OverflowError):
            if text != text.strip():
                return self.read(text.strip())
            raise Refused(self._unread(text)) from None
        if not FIRST <= at <= self.now:
            raise Refused(f"time {text} " + ("has not come yet" if at > self.now else f"is before {FIRST.year}"))
        return at

    def _unread(self, text: str) -> str:
        if not text.strip():
            return "the time is missing; write it like 2026-03-11T14:05"
        return f"time “{text.strip()[:40]}” cannot be read; write the day and the time of day like 2026-03-11T14:05"

    def _shift(self, ordinal: int) -> timedelta | None:
        """The clock's distance from UTC on a day when it is not changed; None for a day when it is."""
        day = datetime.fromordinal(ordinal).replace(tzinfo=self.zone)
        edges = [day, day + timedelta(hours=12), day + timedelta(days=1)]
        shifts = {edge.replace(fold=fold).utcoffset() for edge in edges for fold in (0, 1)}
        return shifts.pop() if len(shifts) == 1 else None

    def _on_changing_day(self, at: datetime) -> datetime:
        first, second = (at.replace(tzinfo=self.zone, fold=fold).utcoffset() for fold in (0, 1))
        if first < second:
            raise Refused(f"the clocks skipped {at:%Y-%m-%d %H:%M} here; correct the time")
        if first > second:
            raise Refused(f"the clocks showed {at:%Y-%m-%d %H:%M} twice here; add the offset, such as {_offset(first)}")
        return at - first


@dataclass(frozen=True, slots=True)
class KnownSite:
    """A site with everything that a row at it may name."""

    pk: int
    probes: ReadOnce
    limits: ReadOnce
    appliances: ReadOnce
    units: ReadOnce
    clock: Clock


class Book:
    """All that one person's file names, read in a fixed number of queries, whatever else that person may write to."""

    def __init__(self, by: Person, mentioned: Mentioned):
        sites, businesses = _sites(by, mentioned.sites)
        self.now = naive(timezone.now())
        self.by = by
        instruments, rules, clocks = _instruments(businesses, mentioned.probes), _rules(sites), {}
        appliances = _appliances(sites)
        pairs = []
        for site in sites:
            clock = clocks.setdefault(site.zone, Clock(site.zone, self.now))
            place = _place(site, instruments[site.area.business_id], rules[site.pk], appliances[site.pk], clock)
            pairs += [(site.name, place), (f"{site.area.name} / {site.name}", place)]
        self.places = ReadOnce(
            Names(
                pairs,
                "there is no site “{}” where you may record readings",
                "several sites are called “{}”; write the area before it, like North / Mill School",
            )
        )
        people = [("", by.pk), *(_people(businesses) if any(mentioned.people) else ())]
        self.people = ReadOnce(Names(people, "nobody here has the e-mail “{}”", ""))
        self.values = {unit: ReadOnce(_values_in(unit)) for unit in Unit.values}
        self.items = ReadOnce(read_item)
        self.holds, self.since = ReadOnce(_seconds_in("held_s")), ReadOnce(_seconds_in("since_start_s"))


def naive(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(tzinfo=None)


def read_item(text: str) -> str:
    item = unguarded(text.strip()).strip()
    if not item:
        raise Refused("the item is missing: say which food or unit was measured")
    if len(item) > LONGEST_ITEM:
        raise Refused(f"the item is longer than {LONGEST_ITEM} characters; move part of it to the note")
    if not item.isprintable():
        raise Refused("the item has a line break or another sign that cannot be printed")
    return item


def _seconds_in(column: str) -> Callable[[str], int | None]:
    def read(text: str) -> int | None:
        digits = text.strip()
        if not digits:
            return None
        seconds = number_in(digits)
        if seconds is None or seconds > LONGEST_HOLD_S:
            raise Refused(f"{column} “{digits[:20]}” is not a number of whole seconds, at most a week")
        return seconds

    return read


def read_note(text: str, longest: int = LONGEST_NOTE, name: str = "note") -> str:
    note = unguarded(text.strip()).strip()
    if len(note) > longest:
        raise Refused(f"the {name} is longer than {longest} characters")
    return note


def read_reason(text: str) -> str:
    reason = read_note(text, LONGEST_REASON, "reason in used_despite")
    if reason and not holds_word(reason):
        raise Refused(f"the reason in used_despite, “{reason[:40]}”, has no word of four letters or more")
    return reason


def read_unit(text: str) -> str:
    unit = text.strip().removeprefix("°").strip().upper()
    if unit not in Unit.values:
        raise Refused(f"unit “{text.strip()[:20]}” is not known; write C or F")
    return unit


def _values_in(unit: str) -> Callable[[str], tuple[str, int]]:
    def read(text: str) -> tuple[str, int]:
        try:
            return text.strip(), read_typed(text, unit)
        except ValueError as error:
            raise Refused(f"value {error}" if text.strip() else "the value is missing") from None

    return read


def _place(site: Site, instruments: ReadOnce, rules: list, appliances: list, clock: Clock) -> KnownSite:
    units = ReadOnce(read_unit)
    units[""] = site.unit
    limits = Names(
        rules,
        "there is no limit with the short name “{}” at this site",
        "several limits are called “{}”; mind the case",
    )
    known = Names(
        appliances, "there is no appliance “{}” at this site", "several appliances are called “{}”; mind the case"
    )
    return KnownSite(site.pk, instruments, ReadOnce(limits), ReadOnce(known), units, clock)


def _sites(by: Person, mentioned: Iterable[str]) -> tuple[list[Site], set[int]]:
    """The sites that the file names among those where this person may record; and the businesses of all of those."""
    names = _folded(mentioned)
    known = list(sites_of(by, Role.COOK).values_list("pk", "name", "area__name", "area__business"))
    keys = [pk for pk, name, area, _ in known if {name.casefold(), f"{area} / {name}".casefold()} & names]
    sites = Site.objects.filter(pk__in=among(keys)).select_related("area")
    return list(sites), {business for *_, business in known}


def _folded(mentioned: Iterable[str]) -> set[str]:
    return {unguarded(text.strip()).casefold() for text in mentioned}


def _instruments(businesses: Iterable[int], mentioned: Iterable[str]) -> dict[int, ReadOnce]:
    """By business: finds a probe by what the file calls it. Only of those that it names the history is read."""
    found: dict[int, list[tuple[str, KnownProbe]]] = {business: [] for business in businesses}
    names = _folded(mentioned)
    codes = Probe.objects.filter(business__in=found).order_by().values_list("pk", "code")
    keys = [pk for pk, code in codes if code.casefold() in names]
    placements, events = defaultdict(list), defaultdict(list)
    placed = Placement.objects.filter(probe__in=among(keys)).order_by("starts_at", "pk")
    for probe, site, at in placed.values_list("probe_id", "site_id", "starts_at"):
        placements[probe].append((site, naive(at)))
    live = Event.objects.live().filter(probe__in=among(keys)).order_by("at", "pk")
    for probe, kind, at in live.values_list("probe_id", "kind", "at"):
        events[probe].append((kind, naive(at)))
    for probe in Probe.objects.filter(pk__in=among(keys)):
        track = Track.of(probe, placements[probe.pk], events[probe.pk])
        quiet_from, quiet_site = (None, None) if probe.former else track.quiet  # its range may have been another one
        instrument = KnownProbe(
            probe.pk, probe.lowest_milli, probe.highest_milli, quiet_from or datetime.max, quiet_site, track
        )
        found[probe.business_id].append((probe.code, instrument))
    none, several = "there is no probe “{}” in this business", "several probes are called “{}”; mind the case"
    return {business: ReadOnce(Names(probes, none, several)) for business, probes in found.items()}


def _rules(sites: list[Site]) -> dict[int, list[tuple[str, KnownLimit]]]:
    versions, limits = defaultdict(list), {}
    rows = LimitVersion.objects.filter(limit__site__in=sites).select_related("limit").order_by("effective_from", "pk")
    for version in rows:
        versions[version.limit_id].append(version)
        limits[version.limit_id] = version.limit
    found = defaultdict(list)
    for pk, limit in limits.items():
        found[limit.site_id].append((limit.code, KnownLimit(pk, limit.code, versions[pk])))
    return found


def _appliances(sites: list[Site]) -> dict[int, list[tuple[str, tuple[int, int, str]]]]:
    """By name their key, that of their limit, and the name; of those that were called the same the one that is measured now, or
    was last."""
    found: dict[int, dict[str, tuple]] = defaultdict(dict)
    rows = Appliance.objects.filter(site__in=sites).order_by("-retired", "pk")
    for site, name, pk, limit in rows.values_list("site_id", "name", "pk", "limit_id"):
        found[site][name.casefold()] = name, (pk, limit, name)
    return defaultdict(list, {site: list(named.values()) for site, named in found.items()})


def _version(record: LimitVersion) -> Version:
    at_most = record.direction == Direction.AT_MOST
    bottom, top = (-BEYOND, record.value_milli) if at_most else (record.value_milli, BEYOND)
    return Version(record.pk, bottom, top, record.hold_s or 0, record.within_s or 0, record)


def _people(businesses: Iterable[int]) -> Iterable[tuple[str, int]]:
    at_site, at_area = (
        Q(**{f"memberships__{path}__in": businesses}) for path in ("site__area__business", "area__business")
    )
    return Person.objects.filter(at_site | at_area).values_list("email", "pk").distinct()


def _offset(shift: timedelta) -> str:
    minutes = int(shift.total_seconds() // 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"
