"""Who knows the form of a probe's drift: the narrowest range that the checks of a quarantined span still leave.

The oracle is told the form (steady; linear; one step at a time unknown; one drop at a time known; wandering, with its
deviation and memory), estimates the rest from the same checks with the same uncertainties, and gives the range between
the 2.5 % and the 97.5 % quantile of what the error then was. It comes with more and more knowledge, see `Knowledge`.

It knows the catalogue of faults as the product does: the probe has one of those that its kind of sensor may have, each as likely
as the others before any check. What each makes of an error it reckons from circuits of its own (`oracle_faults`), with a gain
in rooms of 15 to 30 °C and the instrument within 5 K of that at a reading, and with three thermistors. Nothing that the product
says of bounds is asked. Its range is that of the mixture of all faults, weighed by how well each explains the checks; so it
leaves out the least likely ends, where the product allows for each fault in full.

Errors at both ends and the hidden part are a Gaussian vector (e1, e2, g): flat priors on e1 and e2 but for steady (equal)
and wandering ones (the process), g as the standard of the sensor bounds it, then the checks. A step at an unknown time is
a mixture of before and after, in proportion to the time. A fault that does not go in proportion is taken as a straight line
through what it makes one standard deviation on either side.
"""

from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from scipy.special import ndtr

from compliance.metrology.vocabulary import Outcome

from .oracle_faults import Cause, of_lives, of_sensor
from .probe_lives import BOILING, CAUSES, FAULTS, STEAM, Array, Form, Lives
from .quarantines import OUTCOMES, Quarantined

Z = 1.959964
DISPLAYED = 0.1**2 / 12  # °C², variance of the rounding of a reading
LEAST = 1e-9  # °C², of a truth that hardly moves with what is shown
EQUAL = 1e8  # per °C², precision that ties two errors together


class Knowledge(Enum):
    """What the oracle knows besides the form, the kind of sensor and the catalogue of its faults.

    With JUMP it knows that a probe that fell jumped once, but not that the fall on record did it: as with a step. With CAUSE it
    knows which fault the probe has.
    """

    JUMP = "form, not told of the fall"
    FORM = "form"
    CAUSE = "form and cause"
    HISTORY = "form, cause and all earlier checks"


@dataclass(frozen=True)
class Judged:
    """The oracle's range in °C and outcome for each row of a `Quarantined`."""

    low: Array
    high: Array
    outcome: np.ndarray


def judge(lives: Lives, rows: Quarantined, knowledge: Knowledge) -> Judged:
    """The range of the true temperature, and whether it tells of the limit."""
    if knowledge is Knowledge.JUMP and lives.form is Form.DROP:
        lives = replace(lives, form=Form.STEP, event=np.full_like(lives.event, np.inf))
    told = knowledge in (Knowledge.CAUSE, Knowledge.HISTORY)
    fault = lives.fault[rows.life] // (1 if told else CAUSES)
    low, high = np.empty_like(rows.shown), np.empty_like(rows.shown)
    for each in np.unique(fault):
        chosen = np.flatnonzero(fault == each)
        number = each if told else each * CAUSES
        causes = (of_lives(number),) if told else of_sensor(FAULTS[number].sensor)
        part = rows.only(chosen)
        ends = by_history(lives, part) if knowledge is Knowledge.HISTORY else at_ends(lives, part)
        mixed = _mixed(lives, part, ends, causes)
        low[chosen], high[chosen] = (part.shown - _quantile(mixed, share) for share in (0.975, 0.025))
    return decide(rows, low, high)


def _mixed(lives: Lives, rows: Quarantined, ends: "Ends", causes: tuple[Cause, ...]) -> list["Part"]:
    """The error of each reading as each cause has it, weighed by what was likely before and by the checks."""
    posteriors = [_posterior(lives, rows, ends, cause) for cause in causes]
    evidence = np.array([log + np.log(cause.likely) for (_, _, log), cause in zip(posteriors, causes, strict=True)])
    shares = np.exp(evidence - evidence.max(0))
    return [
        (share * part, centre, deviation)
        for (mean, covariance, _), cause, share in zip(posteriors, causes, shares / shares.sum(0), strict=True)
        for part, centre, deviation in _parts(lives, rows, mean, covariance, cause)
    ]


def decide(rows: Quarantined, low: Array, high: Array) -> Judged:
    """By the same comparison as the assessment."""
    held = np.where(rows.at_most, high <= rows.limit, low >= rows.limit)
    broken = np.where(rows.at_most, low > rows.limit, high < rows.limit)
    names = [OUTCOMES.index(Outcome.HELD), OUTCOMES.index(Outcome.BROKEN)]
    return Judged(low, high, np.select([held, broken], names, OUTCOMES.index(Outcome.UNDECIDED)))


Ends = tuple[Array, Array]  # what is found of the errors at both ends (rows × 2) and its covariance (rows × 2 × 2)


def at_ends(lives: Lives, rows: Quarantined) -> Ends:
    """The two checks on either side."""
    pair = np.stack([rows.start, rows.end], axis=1)
    found, standard = lives.found[rows.life[:, None], pair], lives.standard[rows.life[:, None], pair]
    return found, standard[:, :, None] ** 2 * np.eye(2)


def by_history(lives: Lives, rows: Quarantined) -> Ends:
    """All checks up to the end of the span, through the form: a mean, a straight line, or a level before the jump."""
    if lives.form is Form.WANDER:  # its process is known; older checks add next to nothing to the nearest
        return at_ends(lives, rows)
    found, covariance = (each.copy() for each in at_ends(lives, rows))
    times, values = lives.checked[rows.life], lives.found[rows.life]
    used = _speaking(lives, rows) / lives.standard[rows.life] ** 2
    total = used.sum(1)
    middle, mean = (used * times).sum(1) / total, (used * values).sum(1) / total
    if lives.form is Form.LINEAR:
        across = times - middle[:, None]
        spread = (used * across**2).sum(1)
        slope = (used * across * values).sum(1) / spread
        away = np.stack([np.take_along_axis(times, i[:, None], 1)[:, 0] for i in (rows.start, rows.end)], 1)
        away -= middle[:, None]
        return mean[:, None] + slope[:, None] * away, _line(total, spread, away)
    found[:, 0], covariance[:, 0, 0] = mean, 1 / total
    if lives.form is Form.STEADY:  # both ends say the same once: the second is left out
        found[:, 1], covariance[:, 1, 1] = mean, 1e6
    return found, covariance


def _speaking(lives: Lives, rows: Quarantined) -> np.ndarray:
    """Which checks tell of the level or the line: none across a drop, or a step, which lies where a check first failed."""
    numbers = np.arange(lives.checked.shape[1])
    if lives.form in (Form.STEADY, Form.LINEAR):
        return np.asarray(numbers <= rows.end[:, None])
    until = numbers <= rows.start[:, None]
    if lives.form is Form.STEP:
        return until & (~_after_failure(lives, rows)[:, None] | (numbers == rows.start[:, None]))
    fallen = lives.checked[rows.life] > lives.event[rows.life, None]
    return until & (fallen == np.take_along_axis(fallen, rows.start[:, None], 1))


def _after_failure(lives: Lives, rows: Quarantined) -> np.ndarray:
    return np.asarray(np.abs(lives.found[rows.life, rows.start]) > lives.tolerance[rows.life] + 1e-9)


def _line(total: Array, spread: Array, away: Array) -> Array:
    """Covariance of a fitted line at two times; a whit more, as a matrix of two rows must be invertible."""
    return 1 / total[:, None, None] + away[:, :, None] * away[:, None, :] / spread[:, None, None] + 1e-9 * np.eye(2)


def _posterior(lives: Lives, rows: Quarantined, ends: Ends, cause: Cause) -> tuple[Array, Array, Array]:
    """Mean and covariance of (e1, e2, g) with this cause, and the logarithm of how likely the checks then are."""
    found, covariance = ends
    hidden = np.array([fault.hidden for fault in FAULTS])[lives.fault[rows.life]]
    precision = np.zeros((len(rows.at), 3, 3))
    precision[:, :2, :2] = _prior(lives, rows) + np.linalg.inv(covariance)
    precision[:, 2, 2] = 3 / hidden**2
    weighted = np.zeros((len(rows.at), 3))
    weighted[:, :2] = np.einsum("nij,nj->ni", np.linalg.inv(covariance), found)
    unexplained = np.zeros(len(rows.at))
    for end, check in enumerate((rows.start, rows.end)):
        row, besides = _steam(lives, rows, (end, check), cause)
        value = lives.boiled[rows.life, check] - besides
        certain = np.where(lives.boils[rows.life], 1 / BOILING.standard**2, 0.0)
        precision += certain[:, None, None] * row[:, :, None] * row[:, None, :]
        weighted += (certain * value)[:, None] * row
        unexplained += certain * value**2
    covariance = np.linalg.inv(precision)
    mean = np.einsum("nij,nj->ni", covariance, weighted)
    return mean, covariance, ((weighted * mean).sum(1) - np.linalg.slogdet(precision)[1] - unexplained) / 2


def _steam(lives: Lives, rows: Quarantined, at: tuple[int, Array], cause: Cause) -> tuple[Array, Array]:
    """How the error found at 100 °C at one end follows from (e1, e2, g), and what is to be added."""
    end, check = at
    found, standard = lives.found[rows.life, check], lives.standard[rows.life, check]
    low, high = (cause.in_steam(found + by) for by in (-standard, standard))
    row = np.zeros((len(rows.at), 3))
    row[:, end] = (high - low) / (2 * standard)
    row[:, 2] = STEAM / 75
    return row, (low + high) / 2 - row[:, end] * found


def _jumped_inside(lives: Lives, rows: Quarantined) -> np.ndarray:
    if lives.form is Form.STEP:
        return ~_after_failure(lives, rows)
    event = lives.event[rows.life]
    known = [lives.checked[rows.life, check] for check in (rows.start, rows.end)]
    return np.asarray((known[0] < event) & (event <= known[1]))


def _prior(lives: Lives, rows: Quarantined) -> Array:
    """Precision of (e1, e2) before any check."""
    prior = np.zeros((len(rows.at), 2, 2))
    tied = EQUAL * np.array([[1, -1], [-1, 1]])
    if lives.form is Form.STEADY:
        prior += tied
    if lives.form in (Form.DROP, Form.STEP):
        prior += np.where(_jumped_inside(lives, rows), 0.0, 1.0)[:, None, None] * tied
    if lives.form is Form.WANDER:
        kept, _ = _bridge(lives, rows)
        variance = (lives.deviation**2)[rows.life]
        scale = 1 / (variance * (1 - kept**2))
        prior += scale[:, None, None] * (np.eye(2) - kept[:, None, None] * np.array([[0, 1], [1, 0]]))
    return prior


def _bridge(lives: Lives, rows: Quarantined) -> tuple[Array, Array]:
    """Correlation between both ends of a wandering error, and between the reading and each end."""
    ends = np.stack([lives.checked[rows.life, check] for check in (rows.start, rows.end)], 1)
    memory = lives.memory[rows.life]
    return np.exp(-(ends[:, 1] - ends[:, 0]) / memory), np.exp(-np.abs(ends - rows.at[:, None]) / memory[:, None])


def _weights(lives: Lives, rows: Quarantined) -> tuple[Array, Array, Array]:
    """How the error at a reading follows from those at both ends, its variance besides, and how much time has gone."""
    ends = [lives.checked[rows.life, check] for check in (rows.start, rows.end)]
    gone = (rows.at - ends[0]) / (ends[1] - ends[0])
    besides = np.zeros(len(rows.at))
    if lives.form is Form.WANDER:
        kept, near = _bridge(lives, rows)
        weights = (near - kept[:, None] * near[:, ::-1]) / (1 - kept**2)[:, None]
        besides = (lives.deviation**2)[rows.life] * (1 - (weights * near).sum(1))
        return weights, besides, gone
    if lives.form is Form.DROP:
        gone = (rows.at >= lives.event[rows.life]).astype(float)
    return np.stack([1 - gone, gone], 1), besides, gone


Part = tuple[Array, Array, Array]  # share, mean and deviation of one normal distribution, a row a reading


def _parts(lives: Lives, rows: Quarantined, mean: Array, covariance: Array, cause: Cause) -> list[Part]:
    """The error where the probe showed what it did, as a mixture of normal distributions."""
    ones = np.ones(len(rows.at))
    weights, besides, gone = _weights(lives, rows)

    def told(pair: Array) -> tuple[Array, Array]:
        error = (pair * mean[:, :2]).sum(1)
        deviation = np.sqrt(np.einsum("ni,nij,nj->n", pair, covariance[:, :2, :2], pair) + besides)
        low, high = (cause.where_shown(error + by, rows.shown) for by in (-deviation, deviation))
        more = cause.truth_per_shown(error, rows.shown)
        at = (rows.shown - (low + high) / 2) / 75
        slope = (high - low) / (2 * deviation)
        row = np.concatenate([pair * slope[:, None], (at * more)[:, None]], 1)
        variance = np.einsum("ni,nij,nj->n", row, covariance, row) + besides * slope**2 + DISPLAYED * more**2
        return (low + high) / 2 + row[:, 2] * mean[:, 2], np.sqrt(np.maximum(variance, LEAST))

    if lives.form is not Form.STEP:
        return [(ones, *told(weights))]
    pairs = (np.tile(pair, (len(ones), 1)) for pair in ([1.0, 0.0], [0.0, 1.0]))
    return [(share, *told(pair)) for share, pair in zip((1 - gone, gone), pairs, strict=True)]


def _quantile(parts: list[Part], wanted: float) -> Array:
    """Of a mixture of normal distributions, by halving."""
    low = np.min([mean - 9 * deviation for _, mean, deviation in parts], axis=0)
    high = np.max([mean + 9 * deviation for _, mean, deviation in parts], axis=0)
    for _ in range(24):
        middle = (low + high) / 2
        below = np.sum([share * ndtr((middle - mean) / deviation) for share, mean, deviation in parts], axis=0)
        low, high = np.where(below < wanted, middle, low), np.where(below < wanted, high, middle)
    return np.asarray((low + high) / 2)
