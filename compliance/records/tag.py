"""The tag for a probe that may not be used: since when, why, who recorded it, and a QR code that opens the probe's page."""

from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO

from compliance.checks.check_page import shown_in
from compliance.checks.fitness import Judgement
from compliance.checks.models import Check, CheckDraft, Verdict
from compliance.probes.models import ALTERATIONS, OUT_OF_USE, Event, EventKind, Probe
from shared.printing.fonts import BOLD, REGULAR
from shared.printing.grid import MM, PAPERS, Box
from shared.printing.qr import qr_operators
from shared.printing.sheet import Sheet, cut, fit
from shared.time_text import zoned_moment

from .labels import page_of

WIDTH, HEIGHT, ABOVE = 148 * MM, 105 * MM, 25 * MM  # ISO 216 A6, lying; white above it on the page
FRAME, BAND, PAD, SIDE, LABEL = 4 * MM, 27 * MM, 5 * MM, 40 * MM, 23 * MM
RED, WHITE, BLACK = "0.72 0.05 0.08", "1 g", "0 g"
CODE_SIZES = tuple(range(44, 13, -1))
CUT = "Cut it out along the broken line, and tie or tape it to the probe."
FOOT = "Printed {at} by {by}. Take it off only when the page of the probe says that it may be used again."


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a probe may not be used, since when, and who recorded it; the last two are None and empty where nobody did."""

    words: str
    since: datetime | None
    by: str


def refusal_of(probe: Probe, judged: Judgement) -> Refusal:
    """From the record that a judgement of “Do not use” rests on. What forbids the use of one that is withdrawn is that."""
    if probe.withdrawn:
        return _of_event(probe, OUT_OF_USE)
    if judged.at is None:
        return _of_event(probe, (*ALTERATIONS, EventKind.GONE))
    failed = Check.objects.live().filter(probe=probe, checked_at=judged.at, verdict=Verdict.OUT_OF_TOLERANCE)
    check = failed.select_related("site").prefetch_related("recorded_by__names").order_by("-pk").first()
    if check:
        return Refusal(f"{_sentence(judged.because)} {shown_in(check)}", judged.at, check.name_of())
    begun = CheckDraft.objects.filter(probe=probe, outside_since=judged.at).select_related("person").first()
    words = "A check that is not finished shows a number beyond what is allowed."
    return Refusal(words, judged.at, begun.person.name if begun else "")


def _of_event(probe: Probe, kinds: tuple[str, ...]) -> Refusal:
    happened = Event.objects.live().filter(probe=probe, kind__in=kinds).prefetch_related("recorded_by__names")
    event = happened.order_by("-at", "-pk").first()
    if event is None:
        return Refusal("It may not be used.", None, "")
    note = f" {_sentence(event.note)}" if event.note else ""
    unchecked = "" if event.kind in OUT_OF_USE else ", and not checked since"
    return Refusal(f"{_sentence(event.get_kind_display() + unchecked)}{note}", event.at, event.name_of())


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".!?…" else ".")


def write_tag(out: BinaryIO, probe: Probe, refusal: Refusal, *, printed_by: str, now: datetime) -> None:
    """Write the tag, on the paper of the probe's site, as a PDF to a binary file object."""
    site = probe.site
    page_width, page_height = PAPERS[site.paper]
    box = Box((page_width - WIDTH) / 2, page_height - ABOVE - HEIGHT, WIDTH, HEIGHT)
    with Sheet(out, paper=site.paper, title=f"Do not use: {probe.code}", author=site.area.business.name) as sheet:
        sheet.text(cut(CUT, REGULAR, 9, WIDTH, 24), box.left, box.top + 8 * MM)
        _draw_frame(sheet, box)
        _draw_band(sheet, box.within(FRAME))
        _draw_facts(sheet, box.within(FRAME), probe, refusal)
        foot = FOOT.format(at=zoned_moment(now, site.zone), by=printed_by)
        inside = box.within(FRAME)
        sheet.text(cut(foot, REGULAR, 8, inside.width - 2 * PAD, 20), inside.left + PAD, inside.bottom + 9 * MM)


def _draw_frame(sheet: Sheet, box: Box) -> None:
    """A red frame, and outside it the broken line to cut along."""
    outer, middle = box.within(-2 * MM), box.within(FRAME / 2)
    sheet.emit(f"q 0.5 w 0 G [4 3] 0 d {_rectangle(outer)} S Q")
    sheet.emit(f"q {FRAME:.2f} w {RED} RG {_rectangle(middle)} S Q")


def _draw_band(sheet: Sheet, inside: Box) -> None:
    """The words in white on red, between two signs in the shape of a prohibition (ISO 7010, P001): a ring with a bar."""
    band = Box(inside.left, inside.top - BAND, inside.width, BAND)
    sheet.emit(f"q {RED} rg {_rectangle(band.within(-1))} f Q")  # into the frame, or a hair of white may show between
    middle, radius = band.bottom + BAND / 2, 8.5 * MM
    for center in (band.left + 13 * MM, band.right - 13 * MM):
        sheet.canvas.saveState()
        sheet.canvas.setFillGray(1)
        sheet.canvas.circle(center, middle, radius + 1 * MM, stroke=0, fill=1)
        sheet.canvas.setStrokeGray(0)
        sheet.canvas.setLineWidth(2.4 * MM)
        sheet.canvas.circle(center, middle, radius - 1.2 * MM)
        reach = (radius - 1.2 * MM) * 0.7071
        sheet.canvas.line(center - reach, middle + reach, center + reach, middle - reach)
        sheet.canvas.restoreState()
    words = fit("DO NOT USE", BOLD, range(48, 20, -1), band.width - 52 * MM, BAND)
    sheet.text(words, band.left + 26 * MM, middle + words.height / 2, ink=WHITE, center=True)


def _draw_facts(sheet: Sheet, inside: Box, probe: Probe, refusal: Refusal) -> None:
    """Which probe, where, since when, why and by whom on the left; the code to scan on the right."""
    top, left = inside.top - BAND - 3 * MM, inside.left + PAD
    qr = Box(inside.right - SIDE - 1 * MM, top - SIDE, SIDE, SIDE)
    sheet.emit(qr_operators(page_of(probe), qr))
    sheet.text(cut("Scan it to see what holds now.", REGULAR, 8, SIDE, 20), qr.left, qr.bottom, center=True)
    width = qr.left - left - 2 * MM
    top = sheet.text(fit(probe.code, BOLD, CODE_SIZES, width, 19 * MM), left, top)
    top = sheet.text(cut(probe.site.name, REGULAR, 10, width, 24), left, top) - 3
    since = zoned_moment(refusal.since, probe.site.zone) if refusal.since else ""
    for label, value, lines in (("Since", since, 1), ("Recorded by", refusal.by, 1), ("Why", refusal.words, 5)):
        if value:
            sheet.text(cut(label, BOLD, 9, LABEL, 11), left, top)
            told = cut(value, REGULAR, 10, width - LABEL, lines * 11.8)
            top = sheet.text(told, left + LABEL, top) - 2


def _rectangle(box: Box) -> str:
    return f"{box.left:.2f} {box.bottom:.2f} {box.width:.2f} {box.height:.2f} re"
