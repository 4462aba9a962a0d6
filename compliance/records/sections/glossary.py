"""How to read a record: the words for standings and verdicts, and the marks."""

from shared.printing.flow import Writer

from ..scope import RecordScope
from . import days, reminders

STANDINGS = (
    ("Proven", "The probe passed a check before the reading and the next one after it. The reading can be relied on."),
    (
        "Pending",
        "The probe passed its last check before the reading, and none has been made since. The next check proves "
        "the reading or puts it in quarantine.",
    ),
    (
        "Quarantined",
        "The probe failed the next check, or was used after a failed check, or was adjusted, repaired or gone without "
        "being checked first. Nobody may rely on the reading until somebody has decided on it.",
    ),
    ("Unproven", "No good check of the probe is known from before the reading, so nothing shows that it was right."),
)
VERDICTS = (
    (
        "In tolerance",
        "The error of the probe is no larger than allowed where it was checked. A check at zero clears the "
        "probe, unless a check of it away from zero has failed and was not made good; a check at boiling alone never does.",
    ),
    (
        "Out of tolerance",
        "The error is larger than allowed. The probe must not be used, and what it read since its last good "
        "check is in quarantine.",
    ),
    (
        "Inconclusive",
        "The check cannot tell: the display never settled, the bath was not made properly, the uncertainty was "
        "too large, nobody finished it, or one number alone lay outside. It neither clears the probe nor condemns it.",
    ),
)
MARKS = (
    (
        "Error, ± U",
        "The error is what the probe showed less the true temperature of the reference. U is its expanded "
        "uncertainty: the true error lies within ± U in about 95 of 100 cases.",
    ),
    (
        "R, C, E, D",
        "Numbers of entries: R readings, C checks of probes, E events of probes, D deviations from a limit. They stay "
        "the same in every record.",
    ),
    (
        "Could have been",
        "In a case of quarantine: the range in which the true temperature lay, in the worst case between the "
        "errors found at the checks on either side, with their uncertainties at 95 %. The limit held, or was broken, if it was "
        "so over that range.",
    ),
    (
        "Struck out",
        "Void or corrected. Nothing is ever deleted: the old entry stays readable, and the line under it says "
        "what is right, who struck it out, when and why.",
    ),
    (
        "Entered late",
        "The entry was made more than 2 hours after the act (24 hours for an event, but 15 minutes where a probe is withdrawn "
        "or moved; 30 days for a laboratory’s certificate). From 15 minutes on the time of entry stands beside the act, and who "
        "made it where another person did.",
    ),
    ("≤, ≥", "At most, and at least."),
    (
        "As found, as left",
        "A check as found was made before anything was done to the probe; one as left after an adjustment.",
    ),
    ("Bold", "A reading in bold type did not meet its limit; its deviation is named under it."),
)


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("How to read this record")
    words = ("Standing of a reading", STANDINGS), ("Verdict of a check", VERDICTS), ("Marks", MARKS)
    planned = ("What was planned", reminders.EXPLAINED), ("When checks fall due", days.EXPLAINED)
    writer.small_print([*words, ("What falls due", planned)])
