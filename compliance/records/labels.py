"""Labels to stick on probes: the code, the site, and a QR code that opens the probe's page."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import BinaryIO

from django.urls import reverse

from compliance.notices.wording import absolute
from compliance.probes.models import Probe
from shared.printing.fonts import BOLD, REGULAR
from shared.printing.grid import MM, Box, Grid
from shared.printing.qr import qr_operators
from shared.printing.sheet import Fitted, Sheet, cut, fit
from sites.models import Site

EDGE, GAP = 1.0 * MM, 1.5 * MM  # printers shift by up to a millimetre
CODE_SIZES = tuple(size / 2 for size in range(56, 13, -1))  # points
QR_SHARE, NAME_SHARE = 0.42, 0.4  # of the width for the code to scan; of the height for the name


def page_of(probe: Probe) -> str:
    """The address of a probe's page, as a phone has to know it."""
    return absolute(reverse("probe_detail", args=[probe.pk]))


@dataclass(frozen=True, slots=True)
class Layout:
    """What is on a label, and where."""

    qr: Box
    code: Fitted
    name: Fitted
    left: float
    top: float


def lay_out(box: Box, code: str, name: str) -> Layout:
    inside = box.within(EDGE)
    side = min(inside.height, QR_SHARE * box.width)
    qr = Box(inside.right - side, box.bottom + (box.height - side) / 2, side, side)
    width, height = qr.left - inside.left - 2 * GAP, inside.height - 2 * EDGE
    size = min(11.0, max(6.0, box.height / 10))
    below = cut(name, REGULAR, size, width, NAME_SHARE * height)
    above = fit(code, BOLD, CODE_SIZES, width, height - below.height)
    top = box.bottom + (box.height + above.height + below.height) / 2
    return Layout(qr, above, below, inside.left + GAP, top)


def write_labels(out: BinaryIO, site: Site, probes: Iterable[Probe], grid: Grid, first: int) -> None:
    """Write a label for each probe as a PDF to a binary file object, from label number `first` of the first sheet on."""
    with Sheet(out, paper=grid.paper, title=f"Labels: {site.name}", author=site.area.business.name) as sheet:
        page = 0
        for probe, (number, box) in zip(probes, grid.boxes(first), strict=False):
            if number > page:
                sheet.next_page()
                page = number
            _draw(sheet, lay_out(box, probe.code, site.name), page_of(probe))


def _draw(sheet: Sheet, layout: Layout, address: str) -> None:
    sheet.emit(qr_operators(address, layout.qr))
    sheet.text(layout.name, layout.left, sheet.text(layout.code, layout.left, layout.top))
