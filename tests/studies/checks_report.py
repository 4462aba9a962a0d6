"""What the study of checks found, as a table and a plot."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

from .report import plot, publish, table
from .sheaths import World

COVERAGE, WIDTH, EARLY, WRONG = 0.95, 1.3, 0.01, 0.025  # what is asked of every stratum


@dataclass(frozen=True, slots=True, order=True)
class Stratum:
    """Display step °C, noise as a share of it, the world, the bath, how many readings are typed, and every how many s."""

    resolution: float
    noise: float
    world: World
    bath: str
    readings: int
    every: tuple[float, float] = (4.0, 9.0)


@dataclass(frozen=True, slots=True)
class Found:
    """What a stratum shows. Shares are 0 to 1.

    `figures`: share of checks that gave a figure. Of those, `coverage`: the interval error ± U held the true error;
    `width`: median width of that interval over the narrowest, error ± one value for all, that holds 95 % of them;
    `wrong` and `at_edge`: passed under guarded acceptance although the true error was beyond tolerance, by up to half a
    digit and by a trifle. `early`: share of the checks called settled that had more than half a digit to come when that
    was said first; `seconds`: how long after the probe went in that was, for half of them and for nine in ten.
    """

    stratum: Stratum
    size: int
    figures: float
    coverage: float
    width: float
    early: float
    wrong: float
    at_edge: float
    seconds: tuple[float, float] = (0.0, 0.0)

    def misses(self) -> list[str]:
        """What is asked and not reached; a coverage may fall short by two standard deviations of the simulation."""
        spare = 2 * sqrt(COVERAGE * (1 - COVERAGE) / (self.size * self.figures))
        asked = {
            f"coverage {self.coverage:.3f}": self.coverage >= COVERAGE - spare,
            f"width {self.width:.2f}": round(self.width, 2) <= WIDTH,
            f"early {self.early:.3f}": self.early < EARLY,
            f"wrong passes {self.wrong:.3f}": self.wrong < WRONG,
        }
        return [words for words, reached in asked.items() if not reached]


def tell(found: Sequence[Found]) -> None:
    assumed = [f for f in found if f.stratum.world is World.ASSUMED]
    publish("checks", "\n\n".join([INTRODUCTION.format(size=assumed[0].size), *_sections(assumed, found)]))
    with plot("checks", height=4.4) as figure:
        _draw(figure, assumed)


def tell_hidden(found: Sequence[Found]) -> None:
    """The table of the world in which a slow tail hides; asked of coverage and of "settled" alone."""
    heads = ["step °C", "noise", "typed every", "coverage", "width", "early", "settled after", "nine in ten"]
    missed = [f"- {_named(f.stratum)}, {_pace(f.stratum)}" for f in found if _falls_short(f)]
    parts = [HIDING.format(size=found[0].size), table(heads, map(_hidden_row, found))]
    publish(
        "hidden", "\n\n".join([*parts, "\n".join(["Not reached:", "", *missed]) if missed else "All of it is reached."])
    )


def _falls_short(found: Found) -> bool:
    return any(words.startswith(("coverage", "early")) for words in found.misses())


def _hidden_row(found: Found) -> list[str]:
    s, (half, most) = found.stratum, found.seconds
    shares = [_percent(found.coverage), f"{found.width:.2f}", _percent(found.early)]
    return [f"{s.resolution:g}", f"{s.noise:g}", _pace(s), *shares, f"{half:.0f} s", f"{most:.0f} s"]


def _pace(stratum: Stratum) -> str:
    return "–".join(f"{s:g}" for s in dict.fromkeys(stratum.every)) + " s"


HIDING = """\
{size} checks each, in a good bath: tips of 2 to 6 s behind which a slow tail hides (0 to 8 % of a step of 4 to 30 °C, 6 to 24 s);
typed from the start on at three paces until "settled" is said, and finished then. Asked: coverage 95 % (less two standard
deviations of the simulation) and early below 1 %, at every pace. The last columns tell the price: after how many seconds
"settled" is said, to half of them and to nine in ten."""

LONE = """\
One reading shows nothing of its own scatter: a width that holds 95 % of the true errors on the noisiest display is wider than a
quiet one needs, and no one width does both. Coverage goes first."""

INTRODUCTION = """\
{size} checks in each stratum: display steps of 0.1 and 1 °C; noise with a standard deviation of 0.05, 0.15 and 0.3 digits;
a good bath (packed, ±0.01 °C) and a poor one (stirred cubes, ±0.2 °C); one reading after 1 to 5 minutes, three readings from
20 to 120 s on, every 4 to 20 s, or ten and more from the start, every 4 to 9 s, until "settled" is said. As the budget assumes,
a bath is spread evenly over its half-width, the stem adds 0.01 °C (standard deviation), and a third of the probes are thin,
a third lag at first (two constants in a row) and a third have a tail (3 to 25 % of a step of 4 to 30 °C, up to 24 s). True
errors are spread evenly over 0.7 to 2.7 °C on both sides. Each check is judged by `verify_zero`.

- **Figure**: share of checks that gave a figure at all; a check that has not settled gives none.
- **Coverage**: error ± U held the true error. Asked: 95 % (less two standard deviations of the simulation).
- **Width**: median U over the one half-width that would hold 95 % of the true errors. Asked: at most 1.3.
- **Early**: of checks called settled, those with more than half a digit still to come when that was said first. Asked: below 1 %.
- **Wrong pass**: under guarded acceptance, of probes whose true error is beyond tolerance by 0 to half a digit (evenly), those
  that passed; **at the edge**: of those beyond by a millionth of a degree. Tolerances are drawn with the true error, so that no
  digit is lucky. Asked of the first: below 2.5 %.

![Coverage and width of each stratum](plots/checks.svg)"""

BEYOND = """\
Where the world is worse than the budget assumes ({size} checks each), the worse of the two baths. *Slower sheaths*: tails of
up to 40 s in steps of up to 40 °C; bath and stem never on the cold side. *Sticky display*: it holds on to a digit until it is
a tenth of a digit beyond the edge."""


def _sections(assumed: list[Found], found: Sequence[Found]) -> Iterable[str]:
    heads = [
        "step °C",
        "readings",
        "bath",
        "noise",
        "figure",
        "coverage",
        "width",
        "early",
        "wrong pass",
        "at the edge",
    ]
    yield table(heads, [_row(f) for f in assumed])
    missed = [f"- {_named(f.stratum)}: {', '.join(f.misses())}" for f in assumed if f.misses()]
    yield "\n".join(["Not reached:" if missed else "All of it is reached.", "", *missed]).strip()
    if missed:
        yield LONE
    others = [f for f in found if f.stratum.world is not World.ASSUMED]
    if others:
        yield BEYOND.format(size=others[0].size)
        yield table(["world", "step °C", "readings", "noise", "coverage", "early", "wrong pass"], _worst(others))


def _row(found: Found) -> list[str]:
    stratum = found.stratum
    place = [f"{stratum.resolution:g}", str(stratum.readings), stratum.bath, f"{stratum.noise:g}"]
    shares = [_percent(s) for s in (found.early, found.wrong, found.at_edge)]
    return [*place, f"{found.figures:.0%}", _percent(found.coverage), f"{found.width:.2f}", *shares]


def _worst(found: Sequence[Found]) -> Iterable[list[str]]:
    groups: dict[tuple[World, float, int, float], list[Found]] = {}
    for f in found:
        s = f.stratum
        groups.setdefault((s.world, s.resolution, s.readings, s.noise), []).append(f)
    for (world, resolution, readings, noise), group in groups.items():
        worst = (min(f.coverage for f in group), max(f.early for f in group), max(f.wrong for f in group))
        yield [world.value, f"{resolution:g}", str(readings), f"{noise:g}", *map(_percent, worst)]


def _named(stratum: Stratum) -> str:
    count = "one reading" if stratum.readings == 1 else f"{stratum.readings} readings"
    return f"{stratum.resolution:g} °C, {count}, {stratum.bath} bath, noise {stratum.noise:g} digits"


def _percent(share: float) -> str:
    return f"{100 * share:.2f} %"


def _draw(figure, found: list[Found]) -> None:
    upper, lower = figure.subplots(2, 1, sharex=True)
    places = range(len(found))
    for noise, marker in ((0.05, "o"), (0.15, "s"), (0.3, "^")):
        chosen = [i for i in places if found[i].stratum.noise == noise]
        upper.plot(chosen, [100 * found[i].coverage for i in chosen], marker, label=f"noise {noise:g} digits")
        lower.plot(chosen, [found[i].width for i in chosen], marker)
    upper.axhline(100 * COVERAGE, color="black", linewidth=0.8)
    lower.axhline(WIDTH, color="black", linewidth=0.8)
    upper.set_ylabel("coverage, %")
    lower.set_ylabel("width over narrowest")
    upper.legend(ncols=3, frameon=False, loc="lower center")
    strata = [f.stratum for f in found]
    labels = [f"{s.resolution:g} °C\n{s.readings} × {s.bath}" for s in strata[1::3]]
    lower.set_xticks(list(places)[1::3], labels, fontsize=7)
