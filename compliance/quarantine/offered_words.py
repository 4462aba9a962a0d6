"""What the form of a decision offers as buttons, by what is decided. Common practice, no source; own words can be added."""

from .models import Fate

SHORT = {
    Fate.STANDS: "Stands",
    Fate.MEASURED_AGAIN: "Measured again",
    Fate.REWORKED: "Cooked on",
    Fate.DISCARDED: "Discarded",
    Fate.EATEN: "Eaten",
    Fate.RELEASED: "Released",
}
ASKED = {
    "why": "What was done",
    "risk": "What could have happened",
    "told": "Who was told",
    "evidence": "What shows that it was safe",
}
OFFERED = {
    (Fate.DISCARDED, "why"): (
        "All of it was thrown away",
        "What was left was thrown away",
        "Sent back to the supplier",
    ),
    (Fate.REWORKED, "why"): (
        "Cooked on until its limit was met, by another probe",
        "Reheated until its limit was met, by another probe",
    ),
    (Fate.EATEN, "risk"): (
        "Hardly any risk: near the limit, and not for long",
        "A risk: those who ate it are asked how they are",
        "A likely hazard: the authority is told",
    ),
    (Fate.EATEN, "told"): ("Nobody had to be told", "The area supervisor", "Those who ate it", "The food authority"),
    (Fate.RELEASED, "evidence"): (
        "Another probe in tolerance showed the same then",
        "The unit’s own record shows that the limit held",
    ),
}


def field_of(fate: Fate, asked: str) -> str:
    """The name of the field: one for each decision, so that nothing chosen for another one is sent along unseen."""
    return f"{asked}_{fate}"
