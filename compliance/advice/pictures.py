"""The picture of an outlook, wide and narrow, switched by the style sheet."""

from datetime import timedelta

from compliance.checks.pictures import Pair
from shared.charts.drift import Course, DriftFrame, Found, Turn, drift_picture
from shared.charts.svg import to_svg

from .outlook import Outlook
from .wording import amount, pace, prospect, too_few

SHOWN = timedelta(days=366)
TURNS = 6


def drift_pair(outlook: Outlook) -> Pair:
    """The checks of the last year, or less where the probe is younger, and the forecast."""
    past, probe, ahead = outlook.past, outlook.probe, outlook.ahead()
    start, end = _start(outlook), max([a.at for a in ahead], default=outlook.now + timedelta(days=14))
    changed = outlook.jumps[-1].before if outlook.jumps else None
    found = [
        Found(s.at, s.error_milli / 1000, s.expanded_milli / 1000, used=changed is None or s.at >= changed)
        for s in past.seen
    ]
    frame = DriftFrame(
        tolerance=probe.tolerance_milli / 1000,
        start=start,
        now=outlook.now,
        end=end,
        zone=probe.site.zone,
        leaves=outlook.surely_until,
        unit=probe.site.unit,
    )
    given = (found, outlook.smoothed(), [Course(a.at, a.centre, a.low, a.high) for a in ahead], _turns(outlook))
    told = " ".join(filter(None, (pace(outlook), prospect(outlook)))) or too_few(outlook)
    drawn = [
        to_svg(
            drift_picture(*given, frame=frame, **size),
            f"Errors of probe {probe} and what lies ahead",
            told,
            prefix=prefix,
        )
        for prefix, size in (("drift", {}), ("drift-narrow", {"size": (340, 300)}))
    ]
    return Pair(*drawn)


def _start(outlook: Outlook):
    first = min([s.at for s in outlook.past.seen], default=outlook.now - timedelta(days=14))
    return max(first - timedelta(days=3), outlook.now - SHOWN)


def _turns(outlook: Outlook) -> list[Turn]:
    """The changes that the trend allows for, at the event that explains each."""
    unit = outlook.probe.site.unit
    return [
        Turn(j.event.at, j.event.label) if j.event else Turn(j.before, f"jump of {amount(j.size, unit, signed=True)}")
        for j in outlook.jumps[-TURNS:]
    ]
