"""The check at boiling, step by step: water at a rolling boil, or the steam above it."""

from compliance.metrology.boiling import CRITICAL, MISSING, UNCONFIRMED, WANTED, BoilingKind, BoilingPoint

from .steps import Guidance, Task, Words

SCALDS = ("boiling", "boiling_pan")
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
        ),
    ),
    BoilingKind.STEAM: (
        Task(
            BoilingPoint.CLEAR,
            "Clear of water and sides",
            "The tip hangs in the steam, fixed to a clip or held with tongs.",
            SCALDS,
        ),
        Task(
            BoilingPoint.IMMERSED,
            "Deep enough",
            "Tip and 50 mm more below the lid. Display and handle out of the steam.",
            SCALDS,
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
    ways=WAYS,
    usual=BoilingKind.ROLLING,
    before=BEFORE,
    inside=INSIDE,
    wanted=WANTED,
    critical=CRITICAL,
    missing=MISSING,
    unconfirmed=UNCONFIRMED,
    met=MET,
    waited=BoilingPoint.WAITED,
    words=Words(
        title="Boiling check of ",
        inside="at boiling",
        insert_heading="Now the probe, with a clip or tongs",
        insert_text="Hands, sleeves and face out of the steam. Let the tip down slowly and tap at once: the time runs from then.",
        inside_list="At boiling",
        depth="Depth in the water or steam in mm",
        again_hint="If the water has gone off the boil, start again: the air pressure may have changed too.",
        trouble="Something went wrong with the pan",
        trouble_text="Put it right with the heat turned down, then time it afresh. The steps stay ticked; the readings are "
        "kept, and count no more.",
        rising_again="It had settled and is rising again. Keep the tip clear of bottom and sides, and time it afresh.",
        falling_again="It had settled and is falling again. Bring the water back to a rolling boil and time it afresh.",
    ),
)
