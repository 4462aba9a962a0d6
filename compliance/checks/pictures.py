"""The pictures of a check and of a probe, as pages show them: a wide and a narrow one, switched by the style sheet.

What draws is heavy, and loaded with the first picture.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

from django.utils.safestring import SafeString

from compliance.probes.models import Event, Probe
from sites.models import Site

from .evaluation import Typed
from .kinds import KindOfCheck
from .models import BEGINNING, END, Check, Span

SHOWN = timedelta(days=180)


@dataclass(frozen=True, slots=True)
class SettlingCourse:
    """Where the readings went, in °C: the settled value and what is still to come, None while there is none.

    `reference_milli` is what surrounded the probe.
    """

    value: float | None
    residual: float | None
    reference_milli: int = 0


def settling_svg(
    probe: Probe, readings: Sequence[Typed], kind: KindOfCheck, course: SettlingCourse, unit: str
) -> SafeString:
    """Timed readings on their way to the ice point or to where water boils; drawn for a phone, good on a desk."""
    points = tuple((r.elapsed_ms / 1000, r.value_milli / 1000) for r in readings)
    thousandths = (probe.resolution_milli, probe.tolerance_milli, course.reference_milli)
    words = kind.guidance.words
    told = f"{len(points)} readings of the display over time, against the tolerance around the {words.point}."
    title = f"Probe {probe} settling in {words.medium}"
    return _settling(points, thousandths, (course.value, course.residual), unit, (title, told))


@lru_cache(maxsize=64)  # between two numbers the page is shown again and again
def _settling(points: tuple, thousandths: tuple, course: tuple, unit: str, told: tuple[str, str]) -> SafeString:
    from shared.charts.settling import Display, settling_picture
    from shared.charts.svg import to_svg

    display = Display(*(milli / 1000 for milli in thousandths), unit)
    return to_svg(settling_picture(points, display, *course), *told, prefix="settling")


@dataclass(frozen=True, slots=True)
class Pair:
    wide: SafeString
    narrow: SafeString


def timeline_pair(
    probe: Probe, site: Site, spans: Sequence[Span], checks: Sequence[Check], events: Sequence[Event], now: datetime
) -> Pair:
    """The last six months of a probe, or less where it is younger."""
    from shared.charts.axes import Frame
    from shared.charts.svg import to_svg
    from shared.charts.timeline import Band, Flag, probe_timeline

    start = _start(checks, events, now)
    given = (
        [Band(_open(s.starts_at, BEGINNING), _open(s.ends_at, END), s.standing) for s in spans],
        [_dot(check) for check in checks],
        [Flag(event.at, event.get_kind_display()) for event in events],
    )
    frame = Frame(tolerance=probe.tolerance_milli / 1000, start=start, end=now, zone=site.zone, unit=site.unit)
    told = f"{len(checks)} checks and {len(events)} events; the table below tells them one by one."
    drawn = [
        to_svg(probe_timeline(*given, frame=frame, **size), f"Timeline of probe {probe}", told, prefix=prefix)
        for prefix, size in (("timeline", {}), ("timeline-narrow", {"size": (340, 300)}))
    ]
    return Pair(*drawn)


def _start(checks, events, now: datetime) -> datetime:
    """A little before the first thing that happened, but no more than six months ago and no less than two weeks."""
    times = [c.checked_at for c in checks] + [e.at for e in events]
    first = max(min(times, default=now), now - SHOWN)
    return min(max(first - timedelta(days=2), now - SHOWN), now - timedelta(days=14))


def _open(at: datetime, end: datetime) -> datetime | None:
    return None if at == end else at


def _dot(check: Check):
    from shared.charts.timeline import Dot

    return Dot(
        at=check.checked_at,
        error=_celsius(check.error_milli),
        expanded=_celsius(check.expanded_milli),
        verdict=check.verdict,
        stage=check.stage,
        void=hasattr(check, "void"),
    )


def _celsius(milli: int | None) -> float | None:
    return None if milli is None else milli / 1000
