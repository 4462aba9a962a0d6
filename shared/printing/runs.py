"""Running text of labels and values: each value follows its label, which is bold, on the same line."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from shared.printing.fonts import BOLD, REGULAR
from shared.printing.text import clean, measure, visual, wrap

APART = 2.5  # spaces between a value and the next label


@dataclass(frozen=True, slots=True)
class Run:
    """Words of one face on a line, `x` points from its start."""

    x: float
    text: str
    bold: bool


def set_runs(pairs: Iterable[tuple[str, object]], size: float, width: float) -> list[list[Run]]:
    """Lines no wider than `width` points, with the pairs one after the other; line ends in a value are set as semicolons."""
    lines, x, joins = [[]], 0.0, False
    for text, bold in _words(pairs, size, width):
        font = BOLD if bold else REGULAR
        space = measure(" ", font, size)
        if text is None:
            x, joins = x + (APART - 1) * space, False
            continue
        if lines[-1] and x + measure(text, font, size) > width:
            lines, x, joins = [*lines, []], 0.0, False
        if joins and lines[-1][-1].bold == bold:
            last = lines[-1].pop()
            lines[-1].append(Run(last.x, f"{last.text} {text}", bold))
        else:
            lines[-1].append(Run(x if lines[-1] else 0.0, text, bold))
        last, joins = lines[-1][-1], True
        x = last.x + measure(last.text, font, size) + space
    return [line for line in lines if line]


def goes_rightwards(pairs: Iterable[tuple[str, object]]) -> bool:
    """Whether words can be set one by one: no value is written from the right."""
    return all(visual(text) == text for pair in pairs for text in (clean(each) for each in pair))


def _words(pairs: Iterable[tuple[str, object]], size: float, width: float) -> Iterator[tuple[str | None, bool]]:
    """Each word with whether it is bold; None between two pairs. A word that is wider than the line is broken."""
    for label, value in pairs:
        yield None, False
        for text, bold in ((label, True), (clean(value).replace("\n", "; "), False)):
            for word in clean(text).split(" "):
                yield from ((part, bold) for part in wrap(word, BOLD if bold else REGULAR, size, width) if part)
