"""QR codes (ISO/IEC 18004) as operators of a PDF page."""

from itertools import groupby

from reportlab.graphics.barcode.qrencoder import QR8bitByte, QRCode, QRErrorCorrectLevel

from shared.printing.grid import Box

QUIET = 4  # modules of white on every side; ISO/IEC 18004:2015, 6.3.8 (from memory)
STRONGEST_FIRST = (QRErrorCorrectLevel.H, QRErrorCorrectLevel.Q, QRErrorCorrectLevel.M)


def qr_modules(text: str) -> list[list[bool]]:
    """The modules of a code row by row from the top, dark ones true, without the quiet zone.

    Of the levels of error correction the strongest that takes no more modules than M, which mends 15 % of the codewords.
    """
    codes = [_code(text, level) for level in STRONGEST_FIRST]
    versions = [code.calculate_version() for code in codes]
    chosen = codes[versions.index(versions[-1])]
    chosen.make()
    return [[bool(module) for module in row] for row in chosen.modules]


def _code(text: str, level: int) -> QRCode:
    code = QRCode(None, level)
    code.addData(QR8bitByte(text))
    return code


def qr_operators(text: str, box: Box) -> str:
    """Operators that fill a square box with a code and its quiet zone, in black on what is there."""
    modules = qr_modules(text)
    count = len(modules) + 2 * QUIET
    runs = " ".join(
        f"{QUIET + start} {count - QUIET - number - 1} {length} 1 re"
        for number, row in enumerate(modules)
        for start, length in _runs(row)
    )
    scale = box.width / count
    return f"q 0 g {scale:.5f} 0 0 {scale:.5f} {box.left:.3f} {box.bottom:.3f} cm {runs} f Q"


def _runs(row: list[bool]) -> list[tuple[int, int]]:
    """(first, number) of each run of dark modules."""
    found, start = [], 0
    for dark, run in groupby(row):
        length = len(list(run))
        if dark:
            found.append((start, length))
        start += length
    return found
