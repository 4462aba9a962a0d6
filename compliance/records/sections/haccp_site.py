"""The part of a HACCP plan that holds for every limit: corrective action, verification, records, people and retention."""

from collections.abc import Iterator

from compliance.readings.models import Disposition, OfferedActs
from compliance.readings.offered_acts import USUAL, ActsData
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment
from sites.models import Role

from ..formatting import sentence
from ..scope import RecordScope
from ..site_roles import Held, roles_held
from . import days
from .summary import check_plans

PEOPLE = [
    Column("Initials", points=42),
    Column("Name", share=1),
    Column("Role", share=1),
    Column("From", points=86),
    Column("Until", points=86),
]
HOW = (
    "With a probe, by whoever holds one of the roles below; each reading names its probe, its time, and who took it. A reading "
    "is relied on only between two good checks of its probe."
)
FAILED = (
    "A check that fails puts every reading since the last good one in doubt, until people have decided on each and an area "
    "supervisor has signed."
)
RECORDS = (
    "Each reading, check, deviation, decision and signature, entered with its time and its person. A correction is a new "
    "entry that names the old one, which stays readable. They are printed in the record of the site and of a period."
)
RETENTION = "For how long records must be kept is not recorded here: ask the competent authority."
TRAINING = "The training of these people is not recorded here."
LAW = (
    "Regulation (EC) No 852/2004, Article 5, asks for procedures based on the HACCP principles and for documents and records "
    "of them; Codex CXC 1-1969 (Rev. 2022) sets out those principles; 9 CFR 417.5 and 21 CFR 117.305 say what a record of "
    "them holds. This page is no hazard analysis and no HACCP plan: it prints what the book holds of one."
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("For every limit")
    writer.facts(
        [
            ("Monitoring: how and by whom", HOW),
            ("Corrective action offered here", "\n".join(_offered(scope))),
            ("Verification", "\n".join([*_checks(scope), FAILED])),
            ("Records", RECORDS),
            ("Retention", RETENTION),
        ],
        small=True,
    )
    rows = days.plans_set(scope)
    writer.listing(days.PLANS, rows, caption="Plans of checks that began in the period")
    _write_people(writer, scope)
    writer.paragraph(LAW, small=True)


def _offered(scope: RecordScope) -> Iterator[str]:
    """The list that counted when the period began, and each that was set in it."""
    lists = OfferedActs.objects.filter(site=scope.site.pk, recorded_at__lt=scope.reached).order_by("recorded_at", "pk")
    before = lists.filter(recorded_at__lt=scope.start).last()
    within = list(lists.filter(recorded_at__gte=scope.start))
    first = within[0].recorded_at if within else None
    until = f", until {moment(first, scope.zone)}" if first else ""
    if before:
        yield f"Set {moment(before.recorded_at, scope.zone)} by {scope.people.full_of(before)}{until}. {_acts(before)}"
    else:
        yield f"The usual ones (common practice, no source){until}. {_acts(USUAL)}"
    for each in within:
        yield f"From {moment(each.recorded_at, scope.zone)}, set by {scope.people.full_of(each)}. {_acts(each)}"


def _acts(acts: OfferedActs | ActsData) -> str:
    food = "; ".join(Disposition(value).label for value in acts.dispositions)
    return f"Too warm: {'; '.join(acts.warm_actions)}. Too cool: {'; '.join(acts.cool_actions)}. The food: {food}."


def _checks(scope: RecordScope) -> Iterator[str]:
    for plan in check_plans(scope):
        yield f"Checks of the probes: {plan}" if scope.probes else sentence(plan)


def _write_people(writer: Writer, scope: RecordScope) -> None:
    writer.heading("People")
    empty = "Nobody held a role here that lets readings be entered."
    writer.table(PEOPLE, (_person(held, scope) for held in roles_held(scope)), dense=True, empty=empty)
    writer.paragraph(TRAINING)


def _person(held: Held, scope: RecordScope) -> Row:
    at = min(held.until or scope.reached, scope.reached)
    since = moment(held.since, scope.zone) if held.since else "not recorded here"
    until = moment(held.until, scope.zone) if held.until else "still at printing"
    people = scope.people
    name = str(people.name(held.person, at).name)
    return Row((people.initials(held.person, at), name, Role(held.role).label, since, until))
