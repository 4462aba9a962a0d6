"""How often each probe was to be checked, and who accepted another interval after advice."""

from collections.abc import Iterator

from django.db.models import QuerySet

from compliance.advice.models import Acceptance
from compliance.advice.wording import every
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment

from ..formatting import sentence
from ..scope import RecordScope
from ..statements import asked

COLUMNS = [
    Column("Accepted", points=72),
    Column("Probe", points=50),
    Column("To be checked", share=1),
    Column("Before", share=1),
    Column("Advised", share=1),
    Column("Aim", points=58),
    Column("By", points=24),
]
EXPLAINED = (
    "The days between checks that were set after advice. It is worked out from how the probe drifts and from how often checks "
    "of its kind fail; the aim is the share of checks that find it in tolerance. Nothing is set but by a person."
)


def write(writer: Writer, scope: RecordScope) -> None:
    empty = "No interval was set after advice in the period."
    if writer.listing(COLUMNS, _rows(scope), empty=empty, heading="Intervals between checks"):
        writer.paragraph(EXPLAINED, small=True)


def _rows(scope: RecordScope) -> Iterator[Row]:
    return (_row(accepted, scope) for accepted in accepted_here(scope))


@asked
def accepted_here(scope: RecordScope) -> QuerySet[Acceptance]:
    found = Acceptance.objects.filter(
        probe__in=scope.probe_keys, recorded_at__gte=scope.start, recorded_at__lt=scope.end, recorded_at__lte=scope.now
    )
    return found.select_related("probe").order_by("recorded_at", "pk")


def _row(accepted: Acceptance, scope: RecordScope) -> Row:
    code = accepted.probe.particulars_at(accepted.recorded_at).code
    cells = (
        moment(accepted.recorded_at, scope.zone),
        code,
        every(accepted.days_accepted).capitalize(),
        every(accepted.days_before),
        every(accepted.days_advised),
        f"{accepted.target} of 100",
        scope.people.initials_of(accepted),
    )
    who = scope.people.full_of(accepted)
    why = f" against the advice: {sentence(accepted.why)}" if accepted.days_accepted != accepted.days_advised else "."
    return Row(cells, note=f"Accepted by {who}{why}")
