"""What is said when a check of several in one bath is finished, when the last of them is, and when one was not finished."""

from collections.abc import Sequence

from django.contrib.messages import constants
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.plurals import plural

from .models import Check, Verdict
from .queries import is_near_edge

TONES = {
    Verdict.IN_TOLERANCE: constants.SUCCESS,
    Verdict.INCONCLUSIVE: constants.WARNING,
    Verdict.OUT_OF_TOLERANCE: constants.ERROR,
}
WORDS = {
    Verdict.IN_TOLERANCE: "in tolerance",
    Verdict.INCONCLUSIVE: "inconclusive, check it again",
    Verdict.OUT_OF_TOLERANCE: "out of tolerance, stop using it",
}
NEAR_EDGE = "in tolerance, but near the edge, check it again soon"
GRAVEST_FIRST = (Verdict.OUT_OF_TOLERANCE, Verdict.INCONCLUSIVE, Verdict.IN_TOLERANCE)
ICE = "Discard the ice: it is not for serving."
MEANWHILE = "That check was finished or given up meanwhile."


def one_finished(check: Check) -> tuple[int, str]:
    """Level and words of the message on the way to the next probe."""
    apart = " Label it and keep it apart." if check.verdict == Verdict.OUT_OF_TOLERANCE else ""
    return TONES[check.verdict], f"{check.probe.code}: {_words(check)}.{apart}"


def _words(check: Check) -> str:
    return NEAR_EDGE if is_near_edge(check) else WORDS[check.verdict]


def bath_finished(made: Sequence[Check]) -> tuple[int, SafeString]:
    """Level and words of the message about a whole bath: each probe that did not pass, or only just, leads to its check."""
    gravest = next(verdict for verdict in GRAVEST_FIRST if any(check.verdict == verdict for check in made))
    checked = plural(len(made), "probe")
    near = [check for check in made if is_near_edge(check)]
    if gravest == Verdict.IN_TOLERANCE and not near:
        return TONES[gravest], format_html("{} checked, all in tolerance. {}", checked, ICE)
    others = [*(check for verdict in GRAVEST_FIRST[:2] for check in made if check.verdict == verdict), *near]
    links = ((reverse("check_detail", args=[each.pk]), each.probe.code, _words(each)) for each in others)
    said = format_html_join(" ", '<a href="{}">{}</a>: {}.', links)
    return TONES[gravest], format_html("{} checked. {} {}", checked, said, ICE)


def kept_in_words(check: Check) -> SafeString:
    """What became of a check that was left or given up."""
    link = format_html('<a href="{}">{}</a>', reverse("check_detail", args=[check.pk]), "See what was typed")
    if "unfinished" not in (check.typing or {}):
        return format_html("That check is finished. {}.", link)
    until = "do not use the probe until it has passed a check" if "showed" in check.typing else "check the probe again"
    said = "The check of probe {} was {}. It is kept as inconclusive: {}. {}."
    return format_html(said, check.probe.code, check.typing["unfinished"], until, link)
