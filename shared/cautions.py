"""The cautions that pages and printed records show where they apply. They support local codes; they never replace them."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """A few words that name the danger, and what to do about it."""

    title: str
    text: str


CAUTIONS = {
    "probe_hygiene": Caution(
        "Clean probe",
        "Clean and disinfect the probe before and after each use, above all when you go from raw food to food "
        "that is ready to eat.",
    ),
    "alcohol": Caution(
        "Alcohol wipes burn",
        "Use each wipe once and keep it away from flames and hot surfaces. Let the stem dry, or rinse it, before it "
        "goes into food or ice.",
    ),
    "glass": Caution(
        "No glass near food",
        "Never use a glass or mercury thermometer near food. If one breaks: stop, keep people away, discard the food around it.",
    ),
    "boiling_water": Caution(
        "Steam scalds",
        "Boiling water and steam burn at once. Hold the probe with a clip or tongs and keep your hand out of the steam.",
    ),
    "boiling_pan": Caution(
        "Keep clear of the pan",
        "Sleeves fastened, face away, pan handle turned in, lid opened away from you. Keep others away from the stove.",
    ),
    "microwave": Caution(
        "Never in a microwave oven",
        "Water heated there can be hotter than its boiling point without a bubble, and burst out of the pan at a touch.",
    ),
    "not_for_boiling": Caution(
        "Not every thermometer stands it",
        "A glass thermometer is not suited: heat that comes at once can break it. Look whether the maker allows handle, "
        "cable and display near steam.",
    ),
    "ice_bath": Caution(
        "Ice bath",
        "Use ice made from drinking water and add no salt. Never serve this ice: discard it when you have finished.",
    ),
    "insertion": Caution(
        "Where the tip goes",
        "Push the tip into the thickest part, at least as deep as its sensing length, away from bone, fat and the container.",
    ),
    "infrared": Caution(
        "Infrared reads the surface",
        "An infrared thermometer sees the outside only. It cannot show that the middle of the food is hot or cold enough.",
    ),
    "doubt": Caution(
        "When in doubt, hold it",
        "Keep the food apart, label it and do not serve it until somebody with the authority has decided. "
        "A screen never makes food safe.",
    ),
    "deferral": Caution(
        "What comes first",
        "Noughtbook supports your HACCP plan, your local code, the competent authority and licensed practice. "
        "It replaces none of them; where they differ from what it shows, follow them.",
    ),
}


def caution(key: str) -> Caution:
    """The caution with this key.

    Raises:
        LookupError: for a key that is not known; the message lists those that are.
    """
    if key not in CAUTIONS:
        raise LookupError(f"There is no caution {key!r}; known are {', '.join(CAUTIONS)}.")
    return CAUTIONS[key]
