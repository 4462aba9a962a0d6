"""Where things stand in a part of a document, and what points to them: links and page numbers that are known at its end only.

Entries are named as "R12", a letter and a number; sections by their headings. A pointer to what does not stand in the part
leads nowhere, and is dropped.
"""

import re
from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

CODE = re.compile(r"\b([RCDE])([1-9][0-9]{0,17})\b", re.ASCII)


@dataclass(frozen=True, slots=True)
class Pointer:
    """A rectangle (points) on a page, counted from 1, and what it points to."""

    page: int
    left: float
    bottom: float
    right: float
    top: float
    target: str


class Places:
    """What stands where in one part, which begins on `first_page`; an entry takes sixteen bytes, however many there are."""

    def __init__(self, first_page: int) -> None:
        self.first_page = first_page
        self._sections: dict[str, tuple[int, float]] = {}
        self._numbers: dict[str, array] = defaultdict(lambda: array("q"))
        self._at: dict[str, array] = defaultdict(lambda: array("q"))
        self.links: list[Pointer] = []
        self.asked: list[tuple[int, float, float, str]] = []  # page, right end, baseline, of whose page

    def stands(self, name: str, page: int, y: float) -> None:
        """An entry or a section begins at height `y` (points) of a page; the first place counts."""
        if found := CODE.fullmatch(name):
            letter, number = found.groups()
            self._numbers[letter].append(int(number))
            self._at[letter].append(page << 16 | max(0, round(y)))
        else:
            self._sections.setdefault(name, (page, y))

    def found(self, targets: Iterable[str]) -> dict[str, tuple[int, float]]:
        """The page and height of those that stand in the part."""
        told = {name: self._sections[name] for name in targets if name in self._sections}
        codes = defaultdict(set)
        for match in filter(None, map(CODE.fullmatch, targets)):
            codes[match[1]].add(int(match[2]))
        for letter, wanted in codes.items():
            for number, at in zip(self._numbers[letter], self._at[letter], strict=True):
                if number in wanted:
                    told.setdefault(f"{letter}{number}", (at >> 16, float(at & 0xFFFF)))
        return told


def codes_in(line: str) -> Iterator[tuple[int, int, str]]:
    """(start, end, code) of each number of an entry that a line names."""
    for match in CODE.finditer(line):
        yield match.start(), match.end(), match[0]
