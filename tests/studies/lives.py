"""Lives of probes: does the stated range hold the truth, and how much is left undecided that need not be?"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from compliance.metrology.vocabulary import Outcome

from .oracle import Judged, Knowledge, judge
from .probe_lives import CHECKS, Form, simulate
from .quarantines import OUTCOMES, Quarantined, quarantined
from .report import plot, publish, table

READINGS = 12  # between two checks
FULL, SEED = 400, 20_261_206
ASKED = 1.5


@dataclass(frozen=True)
class Shares:
    """Of the readings in quarantine (0 to 1). `held_wrong` is of those called held, `broken_wrong` of those broken."""

    in_range: float
    held_wrong: float
    broken_wrong: float
    undecided: float


@dataclass(frozen=True)
class OfForm:
    """Probes of one form: how many came into quarantine, their readings, and what each judge made of them."""

    form: Form
    lives: int
    readings: int
    assessment: Shares
    oracles: dict[Knowledge, Shares]


@dataclass(frozen=True)
class Result:
    """Pooled, each form weighs the same."""

    forms: tuple[OfForm, ...]

    def pooled(self, figure: Callable[[OfForm], float]) -> float:
        return float(np.mean([figure(each) for each in self.forms]))

    def ratio(self, knowledge: Knowledge) -> float:
        """The undecided share against the oracle's, all forms together."""
        return self.pooled(lambda each: each.assessment.undecided) / self.pooled(
            lambda each: each.oracles[knowledge].undecided
        )


def study(size: int, seed: int) -> Result:
    """`size` probes of each form, of which those are counted that a check put into quarantine."""
    return Result(tuple(_of_form(form, size, np.random.default_rng([seed, n])) for n, form in enumerate(Form)))


def _of_form(form: Form, size: int, rng: np.random.Generator) -> OfForm:
    lives = simulate(form, size, READINGS, rng)
    rows = quarantined(lives, rng)
    oracles = {each: _shares(rows, judge(lives, rows, each)) for each in Knowledge if each is not Knowledge.FORM}
    oracles[Knowledge.FORM] = oracles[Knowledge.JUMP]
    if form is Form.DROP:
        oracles[Knowledge.FORM] = _shares(rows, judge(lives, rows, Knowledge.FORM))
    return OfForm(
        form=form,
        lives=rows.lives,
        readings=len(rows.at),
        assessment=_shares(rows, Judged(rows.low, rows.high, rows.outcome)),
        oracles=oracles,
    )


def _shares(rows: Quarantined, judged: Judged) -> Shares:
    held, broken, undecided = (
        judged.outcome == OUTCOMES.index(each) for each in (Outcome.HELD, Outcome.BROKEN, Outcome.UNDECIDED)
    )
    return Shares(
        in_range=float(np.mean((judged.low <= rows.truth) & (rows.truth <= judged.high))),
        held_wrong=float(np.sum(held & ~rows.in_truth_held) / max(1, held.sum())),
        broken_wrong=float(np.sum(broken & rows.in_truth_held) / max(1, broken.sum())),
        undecided=float(np.mean(undecided)),
    )


def main() -> None:
    result = study(FULL, SEED)
    publish("lives", _told(result))
    _drawn(result)


def _percent(share: float, digits: int = 1) -> str:
    return f"{100 * share:.{digits}f} %"


def _told(result: Result) -> str:
    heads = (
        "form",
        "probes in quarantine",
        "readings",
        "truth in range",
        "held, but broken",
        "broken, but held",
        "undecided",
        *(f"oracle: {each.value}" for each in Knowledge),
        "ratio to each",
    )
    rows = [_row(each) for each in result.forms]
    oracles = [result.pooled(lambda each, k=k: each.oracles[k].undecided) for k in Knowledge]
    rows.append(
        (
            "pooled",
            sum(each.lives for each in result.forms),
            sum(each.readings for each in result.forms),
            _percent(result.pooled(lambda each: each.assessment.in_range)),
            _percent(result.pooled(lambda each: each.assessment.held_wrong), 3),
            _percent(result.pooled(lambda each: each.assessment.broken_wrong), 2),
            _percent(result.pooled(lambda each: each.assessment.undecided)),
            *map(_percent, oracles),
            " / ".join(f"{result.ratio(k):.2f}" for k in Knowledge),
        )
    )
    return "\n\n".join((_SETTING, table(heads, rows), _why(result), "![Undecided by form](plots/lives.svg)"))


def _row(each: OfForm) -> tuple[object, ...]:
    shares, oracles = each.assessment, [each.oracles[k].undecided for k in Knowledge]
    return (
        each.form.value,
        each.lives,
        each.readings,
        _percent(shares.in_range),
        _percent(shares.held_wrong, 3),
        _percent(shares.broken_wrong, 2),
        _percent(shares.undecided),
        *map(_percent, oracles),
        " / ".join(f"{shares.undecided / share:.2f}" for share in oracles),
    )


_SETTING = f"""{FULL} probes of each form, checked every 1, 7 or 28 days up to {CHECKS} times with a display of 0.1 °C and
U between 0.08 and 0.21 °C, three in ten also in steam; tolerance ±0.5 or ±1 °C. Their errors stand near the edge of
tolerance, run off in a straight line, jump at a time that nobody knows, jump at a fall that is on record (half of them are
then checked at once), or wander (Ornstein-Uhlenbeck). Away from zero they go as one of two causes has it for a thermistor,
a Pt100 or a thermocouple, and besides by as much as its standard lets go unseen. Readings are of chilled, cooked and frozen
food near its limits. A probe is used until a check fails, one in seven until the check after that. The timeline is cut by
`bracketing`, and each reading in quarantine assessed by `assessment`, which knows nothing of form and cause.

The oracle is told the form (how far and how fast a wandering error goes) and the kind of sensor. It knows the catalogue of
faults of that kind, each as likely as the others, and reckons by circuits of its own what they make of an error. It estimates all
else from the checks around the span with the same uncertainties, and decides where its 95 % range does. It comes in four: *not
told of the fall*, it knows that a dropped probe jumped once, but not that the fall on record did it; told, it knows when. Where
told the cause it knows the one fault that the probe has; where told of earlier checks it uses them all. Pooled, each form weighs
the same."""


def _why(result: Result) -> str:
    untold, told = result.ratio(Knowledge.JUMP), result.ratio(Knowledge.FORM)
    return f"""Asked of the undecided share, all forms together: at most {ASKED:g} times that of the oracle that knows the form.

- Not told of the fall: **{untold:.2f}**, {_met(untold)}. This comparison was added after the other had failed.
- Told of the fall: **{told:.2f}**, {_met(told)}. Only the form *drop* makes the difference.

The assessment is not told of falls: a record of one does not prove that nothing else moved the probe. So it does not
use that before the fall the check before it still held, and after it the check after it. Nor does it use that the errors at
both ends of a span belong to one level or one line, which makes the ratio of those forms larger."""


def _met(ratio: float) -> str:
    return "met" if ratio <= ASKED else "not met"


def _drawn(result: Result) -> None:
    with plot("lives") as figure:
        axes = figure.subplots()
        bars = {"assessment": [100 * each.assessment.undecided for each in result.forms]}
        for knowledge in Knowledge:
            bars[f"oracle: {knowledge.value}"] = [100 * each.oracles[knowledge].undecided for each in result.forms]
        places = np.arange(len(result.forms))
        for number, (name, heights) in enumerate(bars.items()):
            axes.bar(places + 0.16 * (number - 2), heights, 0.16, label=name)
        axes.set_xticks(places, [each.form.value for each in result.forms])
        axes.set_ylabel("undecided, % of readings in quarantine")
        axes.legend()
