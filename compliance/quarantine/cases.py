"""Cases: unbroken runs of quarantined spans, derived from the timeline, with what people decided and signed."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from functools import partial

from django.db import connection
from django.db.models import CharField, QuerySet

from compliance.checks.models import BEGINNING, END, Check, Span
from compliance.metrology.vocabulary import Outcome
from compliance.probes.models import Event, Probe
from shared.key_lists import written_out
from shared.prepared import Prepared, Slot, keys
from sites.access import keys_of_sites
from sites.asked_once import once
from sites.models import Person, Site

from .assessing import OutcomeTally, tallies
from .grounds import IN_SPAN, READING, SIGNATURE, SPAN, VOID, decided_by_span
from .models import Signature
from .reassessing import lost_decisions
from .struck_out import StruckOut, struck_out_of

CAUSES = {"check": Check, "event": Event}


class CaseState(StrEnum):
    OPEN = "open"
    TO_SIGN = "to_sign"
    SIGNED = "signed"


@dataclass(slots=True)
class Case:
    """One run in quarantine: why, from when to when, where, and how far people have come with it."""

    anchor: str
    probe: Probe
    spans: list[Span]
    cause: Check | Event
    tallies: list[OutcomeTally]
    signatures: list[Signature]
    agreed: bool  # whether the last signature speaks for all that is decided
    struck: list[StruckOut] = field(default_factory=list)
    sites: dict[int, Site] = field(default_factory=dict)

    @property
    def slug(self) -> str:
        return self.anchor.replace(":", "-")

    @property
    def starts_at(self) -> datetime | None:
        """None: no good check is known before it."""
        return None if self.spans[0].starts_at == BEGINNING else self.spans[0].starts_at

    @property
    def ends_at(self) -> datetime | None:
        """None: no good check has been made since."""
        return None if self.spans[-1].ends_at == END else self.spans[-1].ends_at

    @property
    def readings(self) -> int:
        return sum(t.readings for t in self.tallies)

    @property
    def undecided(self) -> int:
        return sum(t.readings for t in self.tallies if t.fate is None)

    @property
    def lost(self) -> int:
        """Of the undecided ones, those that were decided on before: what that rested on no longer holds."""
        return sum(t.readings for t in self.tallies if t.lost)

    def count(self, outcome: str, site_id: int | None = None) -> int:
        return sum(t.readings for t in self.tallies if t.outcome == outcome and site_id in (None, t.site_id))

    def undecided_at(self, site_ids: Iterable[int], outcome: str = "") -> int:
        wanted = set(site_ids)
        return sum(
            t.readings for t in self.tallies if t.fate is None and t.site_id in wanted and outcome in ("", t.outcome)
        )

    @property
    def fates(self) -> dict[str, int]:
        found: dict[str, int] = defaultdict(int)
        for tally in self.tallies:
            if tally.fate:
                found[tally.fate] += tally.readings
        return dict(found)

    @property
    def outcomes(self) -> list[tuple[str, int, int]]:
        """(outcome, readings, undecided), the graver first."""
        order = (Outcome.BROKEN, Outcome.UNDECIDED, Outcome.HELD)
        return [(o, self.count(o), self.undecided_at(self.sites, o)) for o in order]

    @property
    def signature(self) -> Signature | None:
        """The last signature, while every reading is decided on as it was when it was signed, and none was struck out since."""
        own = [signature for signature in self.signatures if signature.case == self.anchor]
        stands = own and not self.undecided and self.agreed and not self.struck_since(own[-1])
        return own[-1] if stands else None

    def struck_since(self, signature: Signature) -> list[StruckOut]:
        return [each for each in self.struck if each.void.recorded_at > signature.recorded_at]

    @property
    def state(self) -> CaseState:
        if self.undecided:
            return CaseState.OPEN
        return CaseState.SIGNED if self.signature else CaseState.TO_SIGN


def _cause(model) -> QuerySet:
    return model.objects.select_related("recorded_by", "probe").filter(pk=Slot("number"))


_SPANS = Prepared(
    lambda: (
        Span.objects.exclude(anchor="")
        .filter(anchor=Slot("anchor", CharField()))
        .select_related("probe__site__area__business", "behind", "ahead")
        .order_by("ends_at")
    )
)
_SITES = Prepared(lambda: Site.objects.filter(pk__in=keys()).select_related("area"))
_SIGNATURES = Prepared(lambda: Signature.objects.filter(probe=Slot("probe")).order_by("pk"))
_CAUSES = {kind: Prepared(partial(_cause, model)) for kind, model in CAUSES.items()}


def load_case(anchor: str) -> Case | None:
    """The case with this anchor, whole; None if the timeline has no such run (any more)."""
    spans = _SPANS.objects(anchor=anchor)
    cause = cause_of(anchor) if spans else None
    if cause is None:
        return None
    sites = {s.pk: s for s in _SITES.objects(sites_read_at(spans))}
    signatures = [s for s in _SIGNATURES.objects(probe=spans[0].probe_id) if speaks_of(s, spans)]
    return Case(
        anchor=anchor,
        probe=spans[0].probe.particulars_at(spans[-1].ends_at),
        spans=spans,
        cause=cause,
        tallies=tallies(spans, tuple(sites)),
        signatures=signatures,
        agreed=bool(signatures) and all(row[4] for row in decided_by_span("anchor = %s", [anchor])),
        struck=struck_out_of({anchor: spans})[anchor],
        sites=sites,
    )


def spans_of(anchors: Collection[str]) -> QuerySet[Span]:
    """Of these runs, by the partial index: SQLite uses it only where the statement says what is in it."""
    return Span.objects.exclude(anchor="").filter(anchor__in=anchors)


def speaks_of(signature: Signature, spans: list[Span]) -> bool:
    """Whether it was put under readings of this time, even where the case began with another check or event then.

    Nobody signed what was read after the signature: that of a case without an end speaks of no later one.
    """
    ended = min(signature.ends_at, signature.recorded_at)
    return signature.starts_at < spans[-1].ends_at and ended > spans[0].starts_at


def cause_of(anchor: str) -> Check | Event | None:
    kind, _, number = anchor.partition(":")
    if kind not in _CAUSES or not number.isdecimal():
        return None
    return next(iter(_CAUSES[kind].objects(number=int(number))), None)


def sites_read_at(spans: list[Span]) -> list[int]:
    """Where the probe was read during these spans, wherever it was supposed to be."""
    sql = f"""SELECT DISTINCT r.site_id FROM {SPAN} s JOIN {READING} r
        ON r.probe_id = s.probe_id AND {IN_SPAN}
        WHERE s.id IN ({", ".join(["%s"] * len(spans))})"""
    with connection.cursor() as cursor:
        cursor.execute(sql, [s.pk for s in spans])
        return [row[0] for row in cursor.fetchall()]


@dataclass(frozen=True, slots=True)
class Summary:
    """A line in a list of cases: counts only, for the sites asked about; signed or not as a whole, with all its sites.

    `reopened`: readings of it were signed once, and that signature no longer stands.
    """

    anchor: str
    probe_id: int
    starts_at: datetime
    ends_at: datetime
    readings: int
    undecided: int
    signed: bool
    reopened: bool = False

    @property
    def slug(self) -> str:
        return self.anchor.replace(":", "-")

    @property
    def state(self) -> CaseState:
        if self.undecided:
            return CaseState.OPEN
        return CaseState.SIGNED if self.signed else CaseState.TO_SIGN


# In the very words of the partial index, or SQLite does not use it; span by span, so that nothing is sorted. Nearly every span
# was read at one site only. Which sites are wanted is asked of what is found: to test each reading, and to plan a list of
# thousands, takes longer than to count. Void readings, as decided ones, are counted from their own side: few beside all
# readings, and each with one look-up. SQLite keeps to the order of a CROSS JOIN; by its own choice it would begin with the
# spans and go through all their readings.
IN_DOUBT = f"""
SELECT s.anchor, s.probe_id, s.id, min(r.site_id), max(r.site_id), count(*), NULL, 0 FROM {SPAN} s JOIN {READING} r
  ON r.probe_id = s.probe_id AND {IN_SPAN}
WHERE NOT (s.anchor = '') GROUP BY s.anchor, s.id, s.probe_id
UNION ALL
SELECT s.anchor, s.probe_id, NULL, r.site_id, r.site_id, -count(*), max(x.recorded_at),
  max(CASE WHEN x.recorded_at <= (SELECT max(g.recorded_at) FROM {SIGNATURE} g WHERE g."case" = s.anchor) THEN 0 ELSE 1 END)
FROM {VOID} x CROSS JOIN {READING} r CROSS JOIN {SPAN} s
WHERE r.id = x.voids_id AND s.probe_id = r.probe_id AND {IN_SPAN} AND NOT (s.anchor = '')
GROUP BY s.anchor, s.probe_id, r.site_id
"""
BY_SITE = f"""
SELECT s.anchor, s.probe_id, r.site_id, count(*), NULL, 0 FROM {SPAN} s JOIN {READING} r
  ON r.probe_id = s.probe_id AND {IN_SPAN}
WHERE s.id IN ({{spans}}) GROUP BY s.anchor, s.probe_id, r.site_id
"""
FEW_PROBES = 100  # whose decisions are looked up one by one


@dataclass(slots=True)
class RunAtSite:
    """Readings of one run at one site: all that count, those still to decide on, and whether its last signature speaks for all
    that are decided."""

    anchor: str
    probe_id: int
    site_id: int
    readings: int
    undecided: int
    agreed: bool = True
    struck_at: datetime | None = None  # when the last of them was struck out


class Doubts:
    """Every run in quarantine at these sites, counted from the side of the spans; and under which cases the last signature
    stands, for which all the sites that a case was read at count.

    Two queries, where no decision is shaken and no probe went from site to site.
    """

    def __init__(self, site_ids: Iterable[int]):
        sites = set(site_ids)
        found = _runs() if sites else {}
        here = {run.anchor for run in found.values() if run.site_id in sites}
        _settle({where: run for where, run in found.items() if run.anchor in here})
        counted = [run for run in found.values() if run.anchor in here]
        self.runs = [run for run in counted if run.site_id in sites]
        self.signed = here - {run.anchor for run in counted if run.undecided or not run.agreed}

    def at(self, site_ids: Iterable[int]) -> dict[str, list[RunAtSite]]:
        """Those at some of these sites, by their cases."""
        sites, by_anchor = set(site_ids), defaultdict(list)
        for run in self.runs:
            if run.site_id in sites:
                by_anchor[run.anchor].append(run)
        return by_anchor


def doubts_seen_by(person: Person) -> Doubts:
    """At all sites where this person has a role. A page asks for them once."""
    return once(person, "doubts", lambda: Doubts(keys_of_sites(person)))


def doubts(site_ids: Iterable[int]) -> list[RunAtSite]:
    """Every run in quarantine at these sites."""
    return Doubts(site_ids).runs


def _runs() -> dict[tuple[str, int], RunAtSite]:
    """The runs at each site, whichever it is, put together from their spans; nothing of them is decided yet."""
    with connection.cursor() as cursor:
        cursor.execute(IN_DOUBT)
        rows = cursor.fetchall()
        counted = [(anchor, probe, low, *told) for anchor, probe, _, low, high, *told in rows if low == high]
        if wandered := [span for _, _, span, low, high, *_ in rows if low != high]:
            cursor.execute(BY_SITE.format(spans=written_out(wandered)))
            counted += cursor.fetchall()
    found: dict[tuple[str, int], RunAtSite] = {}
    for anchor, probe_id, site_id, count, struck_at, since in counted:
        run = found.setdefault((anchor, site_id), RunAtSite(anchor, probe_id, site_id, 0, 0))
        run.readings += count
        run.undecided += count
        run.agreed = run.agreed and not since
        run.struck_at = _moment(struck_at) if struck_at else run.struck_at
    began = begun({run.anchor for run in found.values() if not run.readings})
    return {where: run for where, run in found.items() if run.readings or _struck_out_of_it(run, began)}


def _struck_out_of_it(run: RunAtSite, began: Mapping[str, datetime]) -> bool:
    """Whether its last reading was struck out when the case was known: what was struck out before was never in it."""
    return run.anchor in began and run.struck_at >= began[run.anchor]


def _moment(stored: datetime | str) -> datetime:
    return stored if isinstance(stored, datetime) else datetime.fromisoformat(stored).replace(tzinfo=UTC)


def begun(anchors: Collection[str]) -> Mapping[str, datetime]:
    """When the book was told of what began each of these cases, by their anchors."""
    found = {}
    for kind, model in CAUSES.items():
        keys = [key for each, _, key in (anchor.partition(":") for anchor in anchors) if each == kind]
        for pk, at in model.objects.filter(pk__in=keys).values_list("pk", "recorded_at") if keys else ():
            found[f"{kind}:{pk}"] = at
    return found


def _settle(found: dict[tuple[str, int], RunAtSite]) -> None:
    """Take off what is decided on, as far as that still holds."""
    if not found:
        return
    probes, shaken = {run.probe_id for run in found.values()}, []
    which = f"probe_id IN ({written_out(probes)})" if len(probes) <= FEW_PROBES else "1 = 1"
    for span_id, anchor, site_id, decided, agreed, changed in decided_by_span(which, []):
        if doubt := found.get((anchor, site_id)):
            doubt.undecided -= decided
            doubt.agreed = doubt.agreed and bool(agreed)
            shaken += [span_id] if changed else []
    for where, count in lost_decisions(shaken).items():
        found[where].undecided += count


def summaries(site_ids: Iterable[int], known: Doubts | None = None) -> list[Summary]:
    """The cases with readings at these sites, newest first; a constant number of queries. `known`: of these sites and more."""
    sites = list(site_ids)
    known = known or Doubts(sites)
    by_anchor = known.at(sites)
    reach: dict[str, list[Span]] = defaultdict(list)
    for span in spans_of(by_anchor).order_by("ends_at") if by_anchor else ():
        reach[span.anchor].append(span)
    made: dict[int, list[Signature]] = defaultdict(list)
    for signature in Signature.objects.filter(probe__in={found[0].probe_id for found in by_anchor.values()}):
        made[signature.probe_id].append(signature)
    lines = [
        _summary(anchor, found, reach[anchor], anchor in known.signed, made) for anchor, found in by_anchor.items()
    ]
    return sorted(
        lines, key=lambda line: (line.state != CaseState.OPEN, line.state != CaseState.TO_SIGN, -_order(line))
    )


def _summary(
    anchor: str, found: list[RunAtSite], spans: list[Span], signed: bool, made: dict[int, list[Signature]]
) -> Summary:
    probe_id = found[0].probe_id
    return Summary(
        anchor=anchor,
        probe_id=probe_id,
        starts_at=spans[0].starts_at,
        ends_at=spans[-1].ends_at,
        readings=sum(d.readings for d in found),
        undecided=sum(d.undecided for d in found),
        signed=signed,
        reopened=not signed and any(speaks_of(signature, spans) for signature in made[probe_id]),
    )


def unsigned(known: Doubts) -> int:
    """How many of these cases no signature stands under."""
    return len({run.anchor for run in known.runs} - known.signed)


def _order(line: Summary) -> float:
    return line.ends_at.toordinal() if line.ends_at != END else float("inf")
