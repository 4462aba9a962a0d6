"""Forecasts: do 95 % intervals hold the next check that often, and does the advice reach the reliability asked for?"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import chain
from multiprocessing import get_context

import numpy as np

from compliance.metrology.drift import ErrorPoint, trend
from compliance.metrology.intervals import LONGEST

from .followed import RATES, YEARS, Followed, follow_drift, follow_rates
from .probe_lives import Form, Lives, simulate
from .report import plot, publish, table

LENGTHS = (4, 5, 6, 8, 10, 15, 20, 30, 45, 60)
COVERAGE = 0.95
FULL, SEED = 100, 20_260_312
PROCESSES = 2


@dataclass(frozen=True)
class Covered:
    """Of the next checks after histories of this form and length, how many (0 to 1) lay in the interval forecast.

    `foreseen` leaves out those before which the error jumped: nobody can foresee a jump. `one_bath`: all checks of a probe
    were made in the same kind of bath; else some in a better one than others, and for `given` (jumps left out) the forecast
    was told which one comes next.
    """

    form: Form
    one_bath: bool
    length: int
    count: int
    share: float
    foreseen: float
    given: float


@dataclass(frozen=True)
class Result:
    """Of forecasts and of following the advice. Pooled, forms and lengths weigh the same."""

    covered: tuple[Covered, ...]
    rates: tuple[Followed, ...]
    drifts: tuple[Followed, ...]

    def share(self, form: Form | None = None, *, one_bath: bool = True, within: bool = False) -> float:
        """Covered; a drop counts within its segments only, a step too if `within`."""
        mine = self._of(form, one_bath)
        return float(np.mean([each.foreseen if within or each.form is Form.DROP else each.share for each in mine]))

    def given(self, form: Form | None = None) -> float:
        """Covered, with two kinds of bath, where the one of the check to come is known."""
        return float(np.mean([each.given for each in self._of(form, False)]))

    def _of(self, form: Form | None, one_bath: bool) -> list[Covered]:
        return [each for each in self.covered if form in (None, each.form) and each.one_bath is one_bath]


def study(size: int, seed: int, lengths: Sequence[int] = LENGTHS, processes: int = 1, days: float = YEARS) -> Result:
    """`size` histories of each form and length, and fleets in proportion; drifting probes followed for `days`."""
    jobs = [(form, one_bath, size, seed, tuple(lengths)) for form in Form for one_bath in (True, False)]
    fleets = [(max(1, size // 20), seed, rate) for rate in RATES]
    drifts = [(form, max(2, size // 5), seed, days) for form in (Form.STEADY, Form.LINEAR, Form.WANDER)]
    with _workers(processes) as run:
        found = run([(_covered, job) for job in jobs])
        rates = run([(follow_rates, job) for job in fleets])
        moved = run([(follow_drift, job) for job in drifts])
    return Result(tuple(chain.from_iterable(found)), tuple(rates), tuple(moved))


@contextmanager
def _workers(processes: int) -> Iterator[Callable[[list], list]]:
    """Runs (function, arguments) in this process, or spread over several."""
    if processes == 1:
        yield lambda jobs: [function(*arguments) for function, arguments in jobs]
        return
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield lambda jobs: [
            each.result() for each in [pool.submit(function, *arguments) for function, arguments in jobs]
        ]


def _covered(form: Form, one_bath: bool, size: int, seed: int, lengths: tuple[int, ...]) -> list[Covered]:
    rng = np.random.default_rng([seed, list(Form).index(form), one_bath])
    found = []
    for length in lengths:
        lives = simulate(form, size, 1, rng, count=80, one_bath=one_bath)
        inside, given, jumped = np.array(list(_hits(lives, length))).T
        shares = float(inside.mean()), float(inside[~jumped].mean()), float(given[~jumped].mean())
        found.append(Covered(form, one_bath, length, size, *shares))
    return found


def _hits(lives: Lives, length: int) -> Iterator[tuple[bool, bool, bool]]:
    """Whether the next check lay in its interval, the same with its uncertainty given, whether the error jumped before it."""
    for life in range(len(lives.every)):
        history, at, found = trend(points(lives, life, length)), lives.checked[life, length], lives.found[life, length]
        mixed = history.predict(float(at), COVERAGE)
        given = history.predict(float(at), COVERAGE, standard=float(lives.standard[life, length]))
        jumped = lives.checked[life, length - 1] < lives.jump[life] <= at
        yield bool(mixed.low <= found <= mixed.high), bool(given.low <= found <= given.high), bool(jumped)


def points(lives: Lives, life: int, length: int) -> list[ErrorPoint]:
    columns = (each[life, :length].tolist() for each in (lives.checked, lives.found, lives.standard))
    return [ErrorPoint(at=at, error=error, standard=standard) for at, error, standard in zip(*columns, strict=True)]


def main() -> None:
    result = study(FULL, SEED, processes=PROCESSES)
    publish("forecasts", _told(result))
    _drawn(result)


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _told(result: Result) -> str:
    lengths = sorted({each.length for each in result.covered})
    rows = []
    for form in Form:
        mine = {each.length: each for each in result.covered if each.form is form and each.one_bath}
        cells = [_percent(mine[n].foreseen if form is Form.DROP else mine[n].share) for n in lengths]
        rows.append([form.value, *cells, *_overall(result, form)])
    rows.append(["pooled", *[""] * len(lengths), *_overall(result, None)])
    overall = ("all", "no jump before", "two baths, next known", "next not known")
    coverage = table(["form", *(f"{n} checks" for n in lengths), *overall], rows)
    return "\n\n".join((_FORECASTS, coverage, _ADVICE, _followed(result), "![Forecasts](plots/forecasts.svg)"))


def _overall(result: Result, form: Form | None) -> list[str]:
    one = [result.share(form), result.share(form, within=True)]
    return [_percent(share) for share in (*one, result.given(form), result.share(form, one_bath=False, within=True))]


def _followed(result: Result) -> str:
    heads = (
        "fleet",
        "checks",
        "days advised",
        "in tolerance",
        "days before the cut",
        "in tolerance then",
        "where under 30 days",
        "adjust at once",
    )
    rows = [
        (
            each.name,
            each.checks,
            f"{each.days:g}",
            _percent(each.attained),
            f"{each.allowed:.3g}",
            _percent(each.exact),
            "–" if each.free is None else _percent(each.free),
            _percent(each.adjust),
        )
        for each in (*result.rates, *result.drifts)
    ]
    return table(heads, rows)


_FORECASTS = f"""{FULL} histories of each form and length, of probes as above, each always checked in the same kind of bath; the
95 % interval of `drift.trend` for what the next check finds. A jump just before that check is beyond any forecast: "no jump
before" leaves such checks out, and so do all columns of the known drop. In the last two columns three baths in ten are poor
ones, in any order: the forecast is told the uncertainty of the check to come, or mixes those of the checks so far. Asked:
93 to 97 %. How much an error is supposed to roam before much was seen (`USUAL_WANDER`) was set with this simulation, with other
seeds."""
_ADVICE = f"""Following `intervals.advise` with a target of 95 %. Fleets of eight probes that fail at a rate which differs from
probe to probe (gamma, shape 4) begin with 26 weekly checks; then each probe is checked as advised, and advised anew, for two
years. Drifting probes are checked weekly six times, then as advised. One that fails is adjusted and goes on; so is one for
which the drift left not even a day, so that the advice was to adjust it at once: how often, of all times that somebody asked,
stands in the last column, and no check is counted for it.

An interval is cut to whole days, and to a step that people can keep (1, 2, 7, 14 or 30 days): "in tolerance" is what came of
that. Before the cut stands what the evidence allowed, {LONGEST} days at most, and the share that it would have given; then the
same where the {LONGEST} days were no limit, which is what the target of 95 % (±2) is for. Where the shares after the cut lie
higher, the steps and the limit of {LONGEST} days are the cause. Errors that stand never leave tolerance. Those that go in a
straight line are foretold too carefully: the forecast leaves room for roaming, of which they have none."""


def _drawn(result: Result) -> None:
    with plot("forecasts") as figure:
        left, right = figure.subplots(1, 2)
        for form in Form:
            mine = [each for each in result.covered if each.form is form and each.one_bath]
            shares = [100 * (each.foreseen if form is Form.DROP else each.share) for each in mine]
            left.plot([each.length for each in mine], shares, "o-", markersize=3, label=form.value)
        left.axhspan(93, 97, color="0.85", zorder=0)
        left.set(xscale="log", xlabel="checks so far", ylabel="next check in the 95 % interval, %")
        left.legend()
        every = (*result.rates, *result.drifts)
        places = range(len(every))
        right.barh(places, [100 * each.attained for each in every], height=0.6)
        right.axvspan(93, 97, color="0.85", zorder=0)
        right.set(xlim=(80, 100), xlabel="checks in tolerance, %")
        right.set_yticks(places, [each.name for each in every])
