"""What a guided check is made of: its steps, the words of its pages, and which points of its preparation count."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from compliance.metrology.bath import Preparation
from compliance.metrology.boiling import BoilingPreparation


@dataclass(frozen=True, slots=True)
class Task:
    """One step: what to do, and how to tell that it is right.

    `by_hand`: of a step that is ticked by itself, never with the others at once, what the check is without it. `said`: the
    word for it on the button that finishes the check.
    """

    point: StrEnum
    title: str
    how: str
    cautions: tuple[str, ...] = ()
    by_hand: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True)
class GuidanceWords:
    """What the pages of one kind of check say. Where the last two are empty, the measurement's own sentence serves.

    `waiting`: what to do until the first number. `at`: as in “check it at zero”; `inside`: while the probe is in; `place`: what
    its depth is measured in; `medium` and `point`: of its picture.
    """

    title: str
    at: str
    inside: str
    place: str
    medium: str
    point: str
    reference_heading: str
    insert_heading: str
    insert_text: str
    inside_list: str
    again_hint: str
    trouble: str
    trouble_text: str
    waiting: str
    rising_again: str = ""
    falling_again: str = ""

    @property
    def depth(self) -> str:
        return f"Depth {self.place}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guidance:
    """One kind of guided check.

    `preparation` is what the measurement is told of it. `ways` are the ways of making its reference and `usual` the first of
    them; `before` and `inside` the steps of each way before and after the probe goes in; `wanted`, `lacks`, `missing` and
    `unconfirmed` as the measurement has them; `met` the points in the words of a correction; `waited` the point that the
    readings themselves show, and `moved` one that is asked about where they do not. `bath` are the points that hold for every
    probe in the same bath; `dated` those that say how old the bath is, and `again` the step that makes an old one good.
    """

    address: str
    preparation: type[Preparation | BoilingPreparation]
    ways: Mapping[StrEnum, str]
    usual: StrEnum
    before: Mapping[StrEnum, tuple[Task, ...]]
    inside: Mapping[StrEnum, tuple[Task, ...]]
    wanted: Mapping[StrEnum, tuple[StrEnum, ...]]
    lacks: Callable[[StrEnum, frozenset[StrEnum]], tuple[StrEnum, ...]]
    missing: Mapping[StrEnum, str]
    unconfirmed: Mapping[StrEnum, str]
    met: Mapping[StrEnum, str]
    waited: StrEnum | None
    moved: StrEnum | None = None
    words: GuidanceWords
    bath: frozenset[StrEnum] = frozenset()
    dated: Mapping[StrEnum, frozenset[StrEnum]] = field(default_factory=dict)
    again: Mapping[StrEnum, Task] = field(default_factory=dict)

    def way(self, value: str | None) -> StrEnum:
        """The way of this name; the usual one for a name that is none."""
        return next((way for way in self.before if way == value), self.usual)

    def point(self, value: str | None) -> StrEnum:
        """Raises ValueError for a point that there is not."""
        return type(next(iter(self.met)))(value or "")
