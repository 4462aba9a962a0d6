"""What a kind of check is made of, and what somebody says of one that was made. Each kind is a module beside this one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import ClassVar
from uuid import UUID

from django.forms import Form

from compliance.metrology.bath import Preparation
from compliance.metrology.boiling import BoilingPreparation
from compliance.metrology.verification import AS_TICKED, NEAR_EDGE
from compliance.metrology.vocabulary import Medium
from compliance.probes.models import Probe
from sites.models import Person, Site

from ..evaluation import Typed
from ..models import Check, CheckDraft, CheckKind
from .steps import Guidance

VERDICT = (
    "Verdict: ILAC-G8:09/2019, a guard band of the expanded uncertainty; end points belong to acceptance. The chance that it "
    "is wrong: JCGM 106:2012."
)
UNCERTAINTY = (
    "Uncertainty: JCGM 100:2008 (GUM); the coverage factor by the shape of all its terms together, JCGM 101:2008."
)


@dataclass(frozen=True, kw_only=True)
class CheckData:
    """What somebody says of a check; the rest is worked out from it. Without `checked_by` whoever records it made it.

    `phone`: where one kept it without network, its time (shared/phone_time.py). `corrects`: in whose place it stands.
    """

    kind: ClassVar[CheckKind]
    key: UUID
    site: Site
    stage: str
    checked_at: datetime
    note: str = ""
    checked_by: Person | None = None
    readings: Sequence[tuple[int, str, str]] = ()
    typing: dict | None = None
    no_figure: str = ""
    phone: dict | None = None
    corrects: Check | None = None

    def fields(self) -> dict:
        """What its record keeps of it. Raises ValidationError where something is missing."""
        return {
            "kind": self.kind,
            "key": self.key,
            "site": self.site,
            "stage": self.stage,
            "checked_at": self.checked_at,
            "note": self.note.strip(),
            "no_figure": self.no_figure,
        }


@dataclass(frozen=True, kw_only=True)
class MeasuredData(CheckData):
    """Of a check that is made step by step: how its reference was prepared, and what the display showed."""

    preparation: Preparation | BoilingPreparation
    readings: Sequence[tuple[int, str, str]]
    immersion_mm: float | None = None

    def fields(self) -> dict:
        made = self.preparation
        points, left = (sorted(point.value for point in points) for points in (made.points, made.left))
        preparation = {"kind": made.kind.value, "points": points, "left": left}
        return super().fields() | {"preparation": preparation, "immersion_mm": self.immersion_mm}


@dataclass(frozen=True, slots=True, kw_only=True)
class OnPaper:
    """How the printed records speak of a kind of check.

    `made` is what is signed, by whom `signer` of the check names; `references` are the ways of preparation and
    `other_reference` one that is not known. `cautions` stand below the signatures.
    """

    title: str
    passed: str
    follows: str = "What is read from here on waits for the next check to prove it."
    noun: str = "check"
    made: str = "Made: I made this check as it is described here, and what I entered is what the display showed."
    signer: str = "checked_by"
    no_budget: str = "There is none: the check gave no figure."
    of_the_reference: str = "Of the bath"
    references: Mapping[str, str] = field(default_factory=dict)
    other_reference: str = ""
    cautions: tuple[str, ...] = ()


class KindOfCheck:
    """All that is particular to one kind of check.

    `points`: the ends of the scale that it may speak for. `path`: of its page below that of a probe. `failed`: what is said
    of a probe that failed one. `near_edge`: the verdict on one that passed by less than its uncertainty. `provided`: on what
    the chance that a verdict is wrong rests. `named`: as in “it failed its zero check”. `also_said`: fields that its form
    says beside those that every form does. `form` and `correction`: to enter it, where it is not made step by step, and to
    correct it. `version`: of its procedure; another one whenever its words change, whose digest is `phrases`
    (tests/checks/test_procedures.py).
    """

    value: CheckKind
    data: type[CheckData]
    points: frozenset[CheckKind]
    path: str
    title: str
    named: str
    failed: str
    sources: tuple[str, ...]
    afterwards: tuple[str, ...]
    on_paper: OnPaper
    correction: type[Form]
    version: int
    phrases: str
    form: type[Form] | None = None
    guidance: Guidance | None = None
    passed_heading = "You may use it"
    near_edge = NEAR_EDGE
    provided = AS_TICKED[Medium.PACKED_ICE]
    made_at_the_time = timedelta(hours=2)
    also_said: tuple[str, ...] = ()
    asks_air = False

    @property
    def guided(self) -> bool:
        """Whether it is made step by step, with the readings of a display."""
        return self.guidance is not None

    @property
    def may_clear(self) -> bool:
        """Whether a good one may show on its own that a probe may be used."""
        return CheckKind.ZERO in self.points

    def unfit(self, probe: Probe) -> str:
        """Why this probe must not be checked so; empty where it may."""
        return ""

    def against(self, check: Check, unit: str) -> str:
        """What a recorded check was held against, in a few words; empty where its kind says it."""
        return ""

    def reference_on_paper(self, check: Check) -> str:
        """What a recorded check was held against, as the printed record names it."""
        return self.on_paper.references.get(check.preparation.get("kind", ""), self.on_paper.other_reference)

    def reference_milli(self, draft: CheckDraft) -> int | None:
        """What surrounds the probe in a check that is being made; None while that is not known."""
        return 0

    def worth(self, draft: CheckDraft, confirmed: frozenset[StrEnum]) -> str:
        """How closely its reference stands for its temperature as it has been prepared, with these points confirmed as well.

        The end of a sentence; empty where not told.
        """
        return ""

    def said_in(self, draft: CheckDraft) -> dict:
        """What a draft of this kind says beside what every draft does."""
        return {}

    def judged(self, probe: Probe, data: CheckData, typed: Sequence[Typed]) -> dict:
        """The fields of a check that the measurement fills. Raises ValidationError for figures that cannot be."""
        raise NotImplementedError

    def initial(self, check: Check) -> dict:
        """A recorded check as its correction starts from it."""
        raise NotImplementedError
