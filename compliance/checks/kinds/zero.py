"""The check at zero, step by step: a bath of melting ice."""

from collections.abc import Sequence
from enum import StrEnum

from django.core.exceptions import ValidationError

from compliance.metrology.bath import (
    MISSING,
    UNCONFIRMED,
    WANTED,
    BathKind,
    BathPoint,
    Preparation,
    judge_bath,
    lacks,
)
from compliance.metrology.verification import verify_zero
from compliance.probes.models import Probe
from shared.units import show, show_spread

from ..evaluation import Typed, fields_of, instrument_of, rule_of
from ..forms import Correction, depth_field, guided_initial, points_field, readings_field, ways_field
from ..models import Check, CheckDraft, CheckKind
from .base import UNCERTAINTY, VERDICT, KindOfCheck, MeasuredData, OnPaper
from .steps import Guidance, GuidanceWords, Task

BATH = {
    BathKind.PACKED_CRUSHED: (
        Task(
            BathPoint.CRUSHED,
            "Crush the ice fine",
            "Like coarse salt. Fill a clean cup to the top.",
        ),
        Task(
            BathPoint.POTABLE,
            "Drinking-water ice, no salt",
            "Clean ice, clean cup, nothing added.",
            ("ice_bath",),
        ),
        Task(BathPoint.WETTED, "Wet it", "Pour in cold drinking water until the ice turns glassy."),
        Task(
            BathPoint.DRAINED,
            "Drain it",
            "Pour the water off.",
            by_hand="Unticked, the bath counts as cubes in water.",
        ),
        Task(
            BathPoint.STEM_CLEANED,
            "Clean the stem",
            "Wipe it, then rinse it or let it dry.",
            ("probe_hygiene", "alcohol"),
        ),
        Task(BathPoint.WELL_FORMED, "Make a hole", "Push a clean rod down the middle."),
    ),
    BathKind.STIRRED_CUBES: (
        Task(
            BathPoint.POTABLE,
            "Fill a cup",
            "Ice cubes to the top, cold drinking water to just below, no salt.",
            ("ice_bath",),
        ),
        Task(
            BathPoint.STEM_CLEANED,
            "Clean the stem",
            "Wipe it, then rinse it or let it dry.",
            ("probe_hygiene", "alcohol"),
        ),
    ),
}
IN_THE_ICE = {
    BathKind.PACKED_CRUSHED: (
        Task(BathPoint.PACKED, "Press the ice to the stem", "No gap of air or water.", said="packed"),
        Task(
            BathPoint.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more in the ice, clear of sides and bottom.",
            said="deep",
        ),
    ),
    BathKind.STIRRED_CUBES: (
        Task(
            BathPoint.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more among the cubes, clear of sides and bottom. Keep stirring.",
            said="deep and stirred",
        ),
    ),
}
DATED = {
    BathKind.PACKED_CRUSHED: frozenset({BathPoint.WETTED, BathPoint.DRAINED}),
    BathKind.STIRRED_CUBES: frozenset({BathPoint.POTABLE}),
}
AGAIN = {
    BathKind.PACKED_CRUSHED: Task(
        BathPoint.DRAINED,
        "Drain it again",
        "The bath is over 30 minutes old. Pour the water off and press the ice together.",
        by_hand="Not done, the bath counts as cubes in water.",
    ),
    BathKind.STIRRED_CUBES: Task(
        BathPoint.POTABLE,
        "Fill it up again",
        "The bath is over 30 minutes old. Pour some water off and add ice cubes to the top, no salt.",
        ("ice_bath",),
        by_hand="Not done, the check says nothing about the probe.",
    ),
}
KINDS = {
    BathKind.PACKED_CRUSHED: "Crushed ice, packed",
    BathKind.STIRRED_CUBES: "Ice cubes in water, stirred all the time",
    BathKind.UNSTIRRED: "Ice in water, not stirred",
    BathKind.UNCONFIRMED: "Not known how it was made",
}
POINTS = {
    BathPoint.CRUSHED: "The ice was crushed fine",
    BathPoint.POTABLE: "Drinking-water ice, no salt",
    BathPoint.WETTED: "It was wetted until glassy",
    BathPoint.DRAINED: "Free water was drained",
    BathPoint.STEM_CLEANED: "The stem was clean",
    BathPoint.WELL_FORMED: "A hole was made first",
    BathPoint.PACKED: "The ice was pressed against the stem",
    BathPoint.IMMERSED: "It was in deep enough",
    BathPoint.FELL: "The display was seen to fall",
    BathPoint.WAITED: "It was left to settle",
}
ICE = Guidance(
    address="zero_check",
    preparation=Preparation,
    ways=KINDS,
    usual=BathKind.PACKED_CRUSHED,
    before=BATH,
    inside=IN_THE_ICE,
    wanted=WANTED,
    lacks=lacks,
    missing=MISSING,
    unconfirmed=UNCONFIRMED,
    met=POINTS,
    waited=BathPoint.WAITED,
    moved=BathPoint.FELL,
    bath=frozenset({BathPoint.CRUSHED, BathPoint.POTABLE, BathPoint.WETTED, BathPoint.DRAINED}),
    dated=DATED,
    again=AGAIN,
    words=GuidanceWords(
        title="Zero check of ",
        at="at zero",
        inside="in the ice",
        place="in the ice",
        medium="ice",
        point="ice point",
        reference_heading="The bath",
        insert_heading="Now the probe",
        insert_text="Into the middle, as deep as it will go. Tap at once: from 1:30 on one number is enough, three make it "
        "surer.",
        inside_list="In the ice",
        again_hint="If the ice has melted or the probe is out of it, start again: old readings do not go with a new bath.",
        trouble="Something went wrong with the bath",
        trouble_text="Put it right, then time it afresh. The steps of the bath stay ticked; the readings are kept, "
        "and count no more.",
        waiting="Watch it fall.",
    ),
)


class ZeroData(MeasuredData):
    """A check in ice, as somebody made it."""

    kind = CheckKind.ZERO


class ZeroCorrection(Correction):
    guidance, data_type = ICE, ZeroData
    kind = ways_field("How the bath was made", ICE.ways)
    points = points_field(ICE.met)
    readings = readings_field("40 0.3")
    immersion_mm = depth_field(f"{ICE.words.depth} in mm")


class ZeroCheck(KindOfCheck):
    value = CheckKind.ZERO
    data = ZeroData
    points = frozenset({CheckKind.ZERO})
    version, phrases = 1, "06e1c6a09f9b7935"
    path = "check"
    title = "Zero check of {}"
    named = "its zero check"
    failed = "failed at zero"
    sources = (
        "Where the ice point comes from: melting ice realises it. Pure ice in water is at 273.15 K within 0.01 K at any height "
        "above the sea (ITS-90: the triple point of water is at 273.16 K). How closely this bath came to it is in the budget.",
        UNCERTAINTY,
        VERDICT,
        "How closely a bath stands for the ice point: common practice of the trade, and judgement for incomplete baths.",
    )
    afterwards = ("Clean the probe before it goes into food.", "Discard the ice: it is not for serving.")
    correction = ZeroCorrection
    guidance = ICE
    on_paper = OnPaper(
        title="Zero-point check",
        passed="In tolerance: the probe passed this check.",
        references={
            BathKind.PACKED_CRUSHED: "packed crushed ice",
            BathKind.STIRRED_CUBES: "stirred ice cubes in water",
            BathKind.UNSTIRRED: "unstirred ice and water",
            BathKind.UNCONFIRMED: "ice bath not confirmed",
        },
        other_reference="ice bath",
        cautions=("ice_bath",),
    )

    def worth(self, draft: CheckDraft, confirmed: frozenset[StrEnum]) -> str:
        """How closely the bath stands for the ice point, taking it that the probe is left to settle; empty where it does not."""
        kind, unit = ICE.way(draft.preparation.get("kind")), draft.probe.site.unit
        points = frozenset(map(ICE.point, draft.preparation.get("points", [])))
        points |= confirmed | {BathPoint.WAITED, BathPoint.FELL}
        made, best = (judge_bath(Preparation(kind=kind, points=done)) for done in (points, frozenset(BathPoint)))
        if not made.usable:
            return ""
        within, full = (show_spread(round(bath.within * 1000), unit, 2) for bath in (made, best))
        line = f"the bath stands for {show(0, unit, 0)} within {within}"
        return f"{line}." if made.within == best.within else f"{line}; with every step confirmed, within {full}."

    def judged(self, probe: Probe, data: ZeroData, typed: Sequence[Typed]) -> dict:
        timed, made = [reading.timed() for reading in typed], data.preparation
        try:
            found = verify_zero(timed, made, instrument_of(probe), data.immersion_mm, rule_of(probe))
        except ValueError as error:
            raise ValidationError(str(error)) from None
        return fields_of(probe, found)

    def initial(self, check: Check) -> dict:
        return guided_initial(check, check.site.unit)
