"""Histories of probes with chosen figures: what a check found is written straight into its table."""

import uuid
from datetime import timedelta

from django.utils import timezone

from compliance.checks.models import Check, CheckKind, Stage, Verdict
from compliance.checks.timeline import recut
from tests.world import make_reading


def found(probe, by, at, milli: int, *, expanded=200, factor=2.0, stage=Stage.AS_FOUND, **fields) -> Check:
    """A check that found this error, in milli-kelvin; the verdict follows from the tolerance."""
    within = abs(milli) <= probe.tolerance_milli
    verdict = Verdict.IN_TOLERANCE if within else Verdict.OUT_OF_TOLERANCE
    fields = {"kind": CheckKind.ZERO, "verdict": verdict, "budget": {"coverage_factor": factor}, **fields}
    return Check.objects.create(
        key=uuid.uuid4(),
        probe=probe,
        site=probe.site,
        stage=stage,
        checked_at=at,
        checked_by=by,
        recorded_by=by,
        error_milli=milli,
        expanded_milli=expanded,
        tolerance_milli=probe.tolerance_milli,
        decision_rule="non_binary",
        **fields,
    )


def history(probe, by, errors, *, every=7, until=None, **fields) -> list[Check]:
    """One check after the other with these errors, in milli-kelvin; the last one a day ago."""
    last = until or timezone.now() - timedelta(days=1)
    count = len(errors)
    made = [
        found(probe, by, last - timedelta(days=every * (count - 1 - n)), milli, **fields)
        for n, milli in enumerate(errors)
    ]
    recut(probe)
    return made


def rising(count: int, step=25, start=50) -> list[int]:
    """Errors that rise by a steady step, with a little scatter."""
    return [start + step * n + (15 if n % 2 else -15) for n in range(count)]


def steady(count: int, at=100) -> list[int]:
    return [at + (20 if n % 3 == 0 else -15) for n in range(count)]


def read_daily(world, probe, days: int, per_day=1) -> None:
    """Readings of the last days."""
    now = timezone.now()
    for number in range(days * per_day):
        make_reading(probe, world.limit, "4.0", now - timedelta(days=number / per_day, hours=1), by=world.cook)
