"""The check at boiling, step by step: water at a rolling boil, or the steam above it."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.forms import ChoiceField, RadioSelect

from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings, is_undecided
from compliance.metrology.boiling import (
    MISSING,
    UNCONFIRMED,
    WANTED,
    BoilingKind,
    BoilingPoint,
    BoilingPreparation,
    lacks,
    verify_boiling,
)
from compliance.metrology.verification import AS_TICKED
from compliance.metrology.vocabulary import Medium
from compliance.probes.models import Probe

from ..evaluation import Typed, fields_of, instrument_of, rule_of
from ..forms import Correction, depth_field, guided_initial, points_field, readings_field, ways_field
from ..models import Check, CheckDraft, CheckKind
from ..surroundings import boils_at_milli, boils_here, keep, read_kept, unfit_for_boiling
from ..surroundings_form import LEVEL_ANSWERS, Air, air_initial
from .base import UNCERTAINTY, VERDICT, KindOfCheck, MeasuredData, OnPaper
from .steps import Guidance, GuidanceWords, Task

SCALDS = ("boiling_water", "boiling_pan")
PAN = Task(
    BoilingPoint.FRESH,
    "Fill a large pan",
    "Fresh drinking water, at least 100 mm deep, no salt. On a stove, handle turned in; never in a microwave oven.",
    ("microwave",),
)
CLEAN = Task(
    BoilingPoint.STEM_CLEANED,
    "Clean the stem",
    "Wipe it with hot water. No alcohol wipes near the flame.",
    ("probe_hygiene",),
)
FIX = Task(
    BoilingPoint.CLEAR,
    "Clear of bottom and sides",
    "Fix it to a clip or hold it with tongs, so that the tip hangs free. Both are hotter than the water.",
    SCALDS,
    said="clear",
)
BEFORE = {
    BoilingKind.ROLLING: (
        PAN,
        CLEAN,
        Task(
            BoilingPoint.BOILED_HARD,
            "Wait for a rolling boil",
            "Large bubbles break all over and do not stop when you stir.",
            SCALDS,
            by_hand="Without this tick the check says nothing about the probe.",
        ),
    ),
    BoilingKind.STEAM: (
        PAN,
        CLEAN,
        Task(
            BoilingPoint.COVERED,
            "Put the lid on",
            "With a gap just wide enough for the stem: it keeps the air out.",
            SCALDS,
        ),
        Task(
            BoilingPoint.BOILED_HARD,
            "Wait for a rolling boil",
            "Steam comes out of the gap in a strong, steady stream.",
            SCALDS,
            by_hand="Without this tick the check says nothing about the probe.",
        ),
    ),
}
INSIDE = {
    BoilingKind.ROLLING: (
        FIX,
        Task(
            BoilingPoint.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more in the water. Display and handle out of the steam.",
            SCALDS,
            said="deep",
        ),
    ),
    BoilingKind.STEAM: (
        Task(
            BoilingPoint.CLEAR,
            "Clear of water and sides",
            "The tip hangs in the steam, fixed to a clip or held with tongs.",
            SCALDS,
            said="clear",
        ),
        Task(
            BoilingPoint.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more below the lid. Display and handle out of the steam.",
            SCALDS,
            said="deep",
        ),
    ),
}
WAYS = {
    BoilingKind.ROLLING: "In water at a rolling boil",
    BoilingKind.STEAM: "In the steam above boiling water",
    BoilingKind.QUIET: "In water that hardly boiled",
    BoilingKind.UNCONFIRMED: "Not known how it boiled",
}
MET = {
    BoilingPoint.FRESH: "Fresh drinking water, no salt",
    BoilingPoint.BOILED_HARD: "It boiled hard all over",
    BoilingPoint.COVERED: "A lid kept the air out (steam only)",
    BoilingPoint.STEM_CLEANED: "The stem was clean",
    BoilingPoint.CLEAR: "The tip was clear of bottom and sides",
    BoilingPoint.IMMERSED: "It was in deep enough",
    BoilingPoint.WAITED: "It was left to settle",
}
BOILING = Guidance(
    address="boiling_check",
    preparation=BoilingPreparation,
    ways=WAYS,
    usual=BoilingKind.ROLLING,
    before=BEFORE,
    inside=INSIDE,
    wanted=WANTED,
    lacks=lacks,
    missing=MISSING,
    unconfirmed=UNCONFIRMED,
    met=MET,
    waited=BoilingPoint.WAITED,
    words=GuidanceWords(
        title="Boiling check of ",
        at="at boiling",
        inside="at boiling",
        place="in the water or steam",
        medium="boiling water",
        point="boiling point",
        reference_heading="The pan",
        insert_heading="Now the probe, with a clip or tongs",
        insert_text="Hands, sleeves and face out of the steam. Let the tip down slowly and tap at once: the time runs from then.",
        inside_list="At boiling",
        again_hint="If the water has gone off the boil, start again: the air pressure may have changed too.",
        trouble="Something went wrong with the pan",
        trouble_text="Put it right with the heat turned down, then time it afresh. The steps stay ticked; the readings are "
        "kept, and count no more.",
        waiting="Watch it rise.",
        rising_again="It had settled and is rising again. Keep the tip clear of bottom and sides, and time it afresh.",
        falling_again="It had settled and is falling again. Bring the water back to a rolling boil and time it afresh.",
    ),
)


@dataclass(frozen=True, kw_only=True)
class BoilingData(MeasuredData):
    """A check in boiling water or steam, as somebody made it; `typed_pressure` is the text and its unit."""

    kind = CheckKind.BOILING
    surroundings: Surroundings | None = None
    typed_pressure: tuple[str, str] = ("", "")

    def fields(self) -> dict:
        kept = keep(self.surroundings, *self.typed_pressure) if self.surroundings else {}
        return super().fields() | {"surroundings": kept}


class BoilingCorrection(Air, Correction):
    guidance, data_type = BOILING, BoilingData
    kind = ways_field("What the probe was held in", BOILING.ways)
    points = points_field(BOILING.met)
    pressure_level = ChoiceField(
        label="Is the pressure of this place?", required=False, choices=LEVEL_ANSWERS, widget=RadioSelect
    )
    readings = readings_field("40 98.3")
    immersion_mm = depth_field(f"{BOILING.words.depth} in mm")

    field_order = [
        *Correction.field_order[: Correction.field_order.index("kind")],
        *Air.base_fields,
        "pressure_level",
        *Correction.field_order[Correction.field_order.index("kind") :],
    ]

    def clean(self):
        data = super().clean()
        if not self.errors and is_undecided(self.surroundings()) and not data["pressure_level"]:
            self.add_error("pressure_level", "This pressure may be of this place or reduced to sea level: say which.")
        return data

    def level(self) -> PressureLevel | None:
        answer = self.cleaned_data.get("pressure_level")
        by_altitude = self.cleaned_data["source"] == PressureSource.ALTITUDE
        return None if by_altitude or not answer else PressureLevel(answer)

    def said(self) -> dict:
        return super().said() | {"surroundings": self.surroundings(), "typed_pressure": self.typed()}


class BoilingCheck(KindOfCheck):
    value = CheckKind.BOILING
    data = BoilingData
    points = frozenset({CheckKind.BOILING})
    version, phrases = 1, "7e9d94a3b43dec0d"
    path = "boiling"
    title = "Boiling check of {}"
    named = "its boiling check"
    failed = "failed at boiling"
    sources = (
        "Where water boils under the air's pressure: IAPWS R7-97(2012), equation (31); pressure from altitude: ICAO Doc 7488.",
        UNCERTAINTY,
        VERDICT,
        "How closely a pan stands for the boiling point: judgement.",
    )
    afterwards = (
        "Let the probe cool in the air, and clean it before it goes into food. The pan stays hot: leave it to cool.",
        "Whether it may be used is told by its check at zero: this one tells only how far it is off when it is hot.",
    )
    correction = BoilingCorrection
    guidance = BOILING
    passed_heading = "It is right at boiling"
    near_edge = (
        "In tolerance at the boiling point, but so near the edge that it may be out of tolerance: check it again soon."
    )
    provided = AS_TICKED[Medium.BOILING_WATER]
    asks_air = True
    on_paper = OnPaper(
        title="Boiling-point check",
        passed="In tolerance at the boiling point. Whether it may be used, its checks at zero say as well.",
        follows="It bounds the error far from zero. It never stands for a check at zero.",
        of_the_reference="Of the pan",
        references={
            BoilingKind.ROLLING: "water at a rolling boil",
            BoilingKind.STEAM: "steam over boiling water",
            BoilingKind.QUIET: "water that hardly boiled",
            BoilingKind.UNCONFIRMED: "boiling not confirmed",
        },
        other_reference="boiling water",
        cautions=("boiling_water",),
    )

    def unfit(self, probe: Probe) -> str:
        return unfit_for_boiling(probe)

    def against(self, check: Check, unit: str) -> str:
        return boils_here(check, unit)

    def reference_milli(self, draft: CheckDraft) -> int | None:
        return boils_at_milli(draft)

    def said_in(self, draft: CheckDraft) -> dict:
        kept = draft.surroundings
        if "source" not in kept:
            return {}
        return {"surroundings": read_kept(kept), "typed_pressure": (kept.get("typed", ""), kept.get("unit", ""))}

    def judged(self, probe: Probe, data: BoilingData, typed: Sequence[Typed]) -> dict:
        if data.surroundings is None:
            raise ValidationError("Say first where the air pressure is known from.")
        timed, about = (
            [reading.timed() for reading in typed],
            (data.preparation, data.surroundings, instrument_of(probe)),
        )
        try:
            found = verify_boiling(timed, *about, rule_of(probe), immersion_mm=data.immersion_mm)
        except ValueError as error:
            raise ValidationError(str(error)) from None
        return fields_of(probe, found)

    def initial(self, check: Check) -> dict:
        return guided_initial(check, check.site.unit) | air_initial(check.surroundings, check.site)
