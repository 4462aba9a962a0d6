"""How figures of drift and of intervals are said to people who have two minutes."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.urls import reverse

from shared.plurals import plural
from shared.time_text import MONTH, about, styled
from shared.units import show_error, show_spread

from .outlook import Jump, Outlook
from .probe_history import Tried

FAR = timedelta(days=730)  # nobody should be told of a date beyond that
ADJUST = "Adjust or replace it now"
COMMON = (1, 7)  # intervals that people know, to compare with


def every(days: int) -> str:
    """How often: "every day", "every 7 days"."""
    return "every day" if days == 1 else f"every {plural(days, 'day')}"


def day(at: datetime, outlook: Outlook) -> str:
    """A date on the clock of the probe's site."""
    return styled(at, outlook.probe.site.zone, "day")


def amount(celsius: float, unit: str, *, signed: bool = False) -> str:
    """A difference with as many digits as it is worth: "0.1 °C", "0.03 °C", "+0.4 °C"."""
    milli = round(celsius * 1000)
    digits = 1 if abs(milli) >= 95 else 2
    text = show_error(milli, unit, digits)
    return text if signed else text.lstrip("+\N{MINUS SIGN}")


def tolerance(outlook: Outlook) -> str:
    return show_spread(outlook.probe.tolerance_milli, outlook.probe.site.unit, 1)


def pace(outlook: Outlook) -> str:
    """What the trend is: "It drifts up by about 0.1 °C a month."."""
    trend, unit = outlook.trend, outlook.probe.site.unit
    if trend is None:
        return ""
    if not outlook.drifts:
        return f"It holds steady: its {plural(trend.count, 'check')} show no drift either way."
    way = "up" if trend.slope > 0 else "down"
    return f"It drifts {way} by about {amount(trend.slope * MONTH, unit)} a month."


def pace_in_short(outlook: Outlook) -> str:
    """For a table: "up 0.1 °C a month", "none that shows"."""
    trend = outlook.trend
    if trend is None:
        return "–"
    if not outlook.drifts:
        return "none that shows"
    return f"{'up' if trend.slope > 0 else 'down'} {amount(trend.slope * MONTH, outlook.probe.site.unit)} a month"


def prospect(outlook: Outlook) -> str:
    """When it may leave its tolerance."""
    allowed, now = tolerance(outlook), outlook.now
    sure, leaves = (at if at and at < now + FAR else None for at in (outlook.surely_until, outlook.leaves))
    leaves = leaves if outlook.drifts else None
    if outlook.trend is None:
        return ""
    if outlook.failed:
        return f"At its last check it was out of {allowed}. Once it is put right, what lies ahead is told again from there."
    if sure and sure <= now:
        return f"Since {day(sure, outlook)} it can no longer be taken for sure that it is within {allowed}: check it."
    if leaves and leaves <= now:
        return f"At that pace it reaches the edge of {allowed} by now: check it."
    if leaves:
        earliest = f"; the earliest likely date is {day(sure, outlook)}" if sure and sure < leaves else ""
        return f"At that pace it leaves {allowed} in {about(leaves - now)}{earliest}."
    if sure:
        return f"It is expected to stay within {allowed}, but without a check that is sure only until {day(sure, outlook)}."
    return f"Nothing in its checks suggests that it leaves {allowed} within two years."


def too_few(outlook: Outlook) -> str:
    """The honest word where there is no trend."""
    have = len(outlook.past.seen)
    known = f"There is {plural(have, 'check')} so far" if have == 1 else f"There are {plural(have, 'check')} so far"
    return f"{known if have else 'There is no check yet'}; a trend needs at least three that gave a clear answer."


def stakes(outlook: Outlook) -> str:
    """What a failure means in readings: "Checked every 7 days, a failed check puts about 60 readings in doubt; …"."""
    if outlook.past.per_day is None:
        return "No reading was taken with it so far, so what a failed check would put in doubt cannot be told."
    present = outlook.every_days
    others = [days for days in dict.fromkeys((outlook.advice.days, *COMMON)) if days not in (None, present)][:2]
    rest = "; ".join(
        f"{checked(days)}, {how_many(outlook.at_stake(days).readings)}" for days in sorted(others, reverse=True)
    )
    most = how_many(outlook.at_stake(present).readings)
    noun = "reading" if most == "about 1" else "readings"
    return f"Checked {checked(present)}, a failure puts {most} {noun} in doubt; {rest}."


def checked(days: int) -> str:
    """How often it is checked, in a word where there is one."""
    return {1: "daily", 7: "weekly"}.get(days, every(days))


def how_many(readings: float) -> str:
    """A rough number: two figures are as many as it is worth."""
    if readings < 0.95:
        return "less than one"
    digits = 0 if readings < 20 else -1 if readings < 1000 else -2
    rough = int(round(readings, digits))
    return f"about {rough:,}"


def jump(found: Jump, outlook: Outlook) -> str:
    """A sudden change with what explains it."""
    size = amount(found.size, outlook.probe.site.unit, signed=True)
    if found.event:
        what = f"It was {found.event.label} on {day(found.event.at, outlook)}"
        return f"{what}; the checks on either side differ by about {size}."
    span = f"Between {day(found.after, outlook)} and {day(found.before, outlook)}"
    return f"{span} its error changed at once by about {size}. Nothing is recorded that explains it: ask what happened."


def warning(outlook: Outlook) -> str:
    where = day(outlook.warned, outlook)
    return (
        f"Since {where} its checks lie to one side of where it used to stand. It is within tolerance still, but it is moving: "
        "check it sooner, and see whether the tip, the cable and the battery are sound."
    )


def meaning(outlook: Outlook) -> list[str]:
    """The outlook in plain sentences."""
    told = [pace(outlook), prospect(outlook)] if outlook.trend else [too_few(outlook)]
    return [*filter(None, told), stakes(outlook)]


def in_short(outlook: Outlook) -> list[str]:
    """For the page of the probe: what it does and when it may leave its tolerance."""
    told = [pace(outlook), prospect(outlook)] if outlook.trend else [too_few(outlook)]
    return [line for line in (*told, advice(outlook) if differs(outlook) or outlook.adjust_first else "") if line]


def differs(outlook: Outlook) -> bool:
    return outlook.acceptable and outlook.advice.days != outlook.every_days


def advised_in_short(outlook: Outlook) -> str:
    """For a table: "as it is", "every 3 days", "adjust it now"."""
    if not outlook.acceptable:
        return "–"
    if outlook.adjust_first:
        return "adjust it now"
    return every(outlook.advice.days) if differs(outlook) else "as it is"


def advice(outlook: Outlook) -> str:
    """What is advised beside what is so: "Advice: check it every 3 days. Now it …"."""
    days, present = outlook.advice.days, outlook.every_days
    if outlook.failed:
        return "Put it right first: adjust or repair it, check it again, and then look here."
    if days is None:
        return outlook.advice.why[0]
    if outlook.adjust_first:
        return f"Adjust or replace it now; no interval is short enough. Until then, check it {every(days)}."
    if days == present:
        return f"Go on as now: check it {every(days)}."
    return f"Advice: check it {every(days)}. Now it is checked {every(present)}."


def because(outlook: Outlook) -> tuple[str, ...]:
    """What the advice rests on, without what `advice` said already."""
    said = 0 if outlook.failed else 2 if outlook.adjust_first else 1
    return outlook.advice.why[said:] if said else ()


def adjust_first(outlook: Outlook) -> str:
    """Why no interval will do."""
    return (
        f"It is so near the edge of {tolerance(outlook)}, or moves so much, that it may be out by tomorrow. No interval is short "
        "enough: adjust or replace it, and check it again. If it has to be used until then, check it every day."
    )


def notices(outlook: Outlook) -> list[dict]:
    """What must not be overlooked, the gravest first."""
    found = []
    check = {"url": reverse("zero_check", args=[outlook.probe.pk]), "link": "Check it at zero"}
    if outlook.failed:
        found.append({"tone": "bad", "heading": "Out of tolerance", "text": "Do not use it until it passes a check."})
    elif outlook.adjust_first:
        found.append({"tone": "bad", "heading": ADJUST, "text": adjust_first(outlook), **check})
    elif outlook.state == "soon":
        text = "It may leave its tolerance before its next check is due. Check it now rather than then."
        found.append({"tone": "caution", "heading": "May leave its tolerance soon", "text": text, **check})
    if outlook.warned and not outlook.failed:
        found.append({"tone": "caution", "heading": "Early warning: it is on the move", "text": warning(outlook)})
    if outlook.jumps and not outlook.jumps[-1].explained:
        text = jump(outlook.jumps[-1], outlook)
        found.append({"tone": "info", "heading": "It changed at once", "text": text})
    return found


SOURCES = (
    "Each error was found by a check at zero, with the uncertainty of that check. Checks that were struck out or gave no clear "
    "answer are left out.",
    "The trend is a line with steps at adjustments, and an error that may roam besides; how much it roams is judged from the "
    "checks (A. C. Harvey, Forecasting, Structural Time Series Models, 1989). Few checks make the forecast wide.",
    "Sure means a probability of 95 % that the true error is within tolerance (JCGM 106:2012, clause 7).",
    "The early warning is a moving average of the errors with limits at three standard deviations (NIST/SEMATECH e-Handbook of "
    "Statistical Methods, 6.3.2.4).",
    "The advice takes the shorter of what the drift allows and what the passed and failed checks of this probe and others of "
    "its kind allow (ILAC-G24 / OIML D 10). It comes in steps that people can keep: 1, 2, 7, 14 or 30 days.",
    "All readings since the last good check are in doubt after a failure; their number is the pace of the last 60 days in use.",
)


def figures(outlook: Outlook) -> list[tuple[str, str]]:
    """The figures behind the words."""
    unit, trend = outlook.probe.site.unit, outlook.trend
    rate = outlook.past.per_day
    told = []
    if trend:
        told += [
            (
                "Checks that count",
                f"{trend.count}, {day(outlook.past.seen[0].at, outlook)} to {day(outlook.last.at, outlook)}",
            ),
            ("Error now, scatter averaged out", spread(trend.level, trend.level_standard, unit)),
            ("Drift in a month", spread(trend.slope * MONTH, trend.slope_standard * MONTH, unit)),
            ("Scatter of one check", show_error(round(trend.scatter * 1000), unit).lstrip("+")),
            ("Roaming in a month", show_error(round(trend.wander * MONTH**0.5 * 1000), unit).lstrip("+")),
            ("Expected to leave its tolerance", till(outlook.leaves, outlook)),
            (
                "In tolerance, 95 % sure, until",
                till(outlook.surely_until, outlook),
            ),
        ]
    return [
        *told,
        ("Own intervals that ended in a check", trials(outlook.own)),
        ("Those of others of its kind", trials(t for probe in outlook.alike for t in probe)),
        ("Aim", f"{outlook.target} of 100 checks find it in tolerance"),
        ("Days that the evidence allows", allowed_days(outlook)),
        ("Readings a day", "none so far" if rate is None else f"{rate:.1f}"),
        ("Readings to come into doubt in a year", yearly(outlook)),
    ]


def till(at: datetime | None, outlook: Outlook) -> str:
    """A date, or that it is too far away to be told."""
    return day(at, outlook) if at and at < outlook.now + FAR else "not within two years"


def spread(value: float, standard: float, unit: str) -> str:
    """A value with its standard uncertainty, °C: "+0.100 °C, standard uncertainty 0.020 °C"."""
    value, standard = (show_error(round(v * 1000), unit, 3) for v in (value, standard))
    return f"{value}, standard uncertainty {standard.lstrip('+')}"


def yearly(outlook: Outlook) -> str:
    """What is to be expected at the rate of failures: now, and as advised."""
    days = dict.fromkeys((outlook.every_days, outlook.advice.days))
    stakes = [outlook.at_stake(each) for each in days if each]
    known = [
        f"checked {checked(stake.days)}, {how_many(stake.yearly)}"
        for stake in stakes
        if stake and stake.yearly is not None
    ]
    return "; ".join(known) or "cannot be told yet"


def allowed_days(outlook: Outlook) -> str:
    found = outlook.advice
    if found.days is None:
        return "cannot be told yet"
    return f"{found.days} (from {found.low} to {found.high} cannot be ruled out)"


def trials(tried: Iterable[Tried]) -> str:
    known = list(tried)
    checks, failures = sum(t.checks for t in known), sum(t.failures for t in known)
    return f"{checks}, of which {failures} failed" if checks else "none yet"
