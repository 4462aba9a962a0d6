"""A printed page as a reader without ink sees it: its filled rectangles as a picture, and its text with where it stands."""

import io
from collections.abc import Iterator

import numpy as np
import zxingcpp
from pypdf import PdfReader
from pypdf.generic import ContentStream

from shared.printing.grid import Box

DOTS = 4  # a point


def read(written: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(written))


def _times(inner, outer):
    a, b, c, d, e, f = inner
    p, q, r, s, t, u = outer
    return a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u


def black_rectangles(page) -> Iterator[Box]:
    """The rectangles that are filled with black, in points."""
    matrix, black, kept, path = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0), False, [], []
    for given, operator in ContentStream(page.get_contents(), page.pdf).operations:
        numbers = [float(number) for number in given if isinstance(number, int | float)]
        if operator == b"q":
            kept.append((matrix, black))
        elif operator == b"Q":
            matrix, black = kept.pop()
        elif operator == b"cm":
            matrix = _times(numbers, matrix)
        elif operator in (b"g", b"rg"):
            black = not any(numbers)
        elif operator == b"re":
            x, y, width, height = numbers
            path.append(
                Box(matrix[0] * x + matrix[4], matrix[3] * y + matrix[5], matrix[0] * width, matrix[3] * height)
            )
        elif operator in (b"f", b"S", b"n"):
            yield from path if operator == b"f" and black else ()
            path = []


def codes(page) -> list[tuple[str, Box]]:
    """What a scanner reads in the QR codes of a page, and the room that each takes without its quiet zone."""
    width, height = (float(edge) for edge in page.mediabox[2:])
    picture = np.full((round(height * DOTS), round(width * DOTS)), 255, dtype=np.uint8)
    for box in black_rectangles(page):
        rows = slice(round((height - box.top) * DOTS), round((height - box.bottom) * DOTS))
        picture[rows, round(box.left * DOTS) : round(box.right * DOTS)] = 0
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return [(code.text, _place(code.position, height)) for code in found]


def _place(position, height: float) -> Box:
    corners = (position.top_left, position.top_right, position.bottom_left, position.bottom_right)
    left, right = min(c.x for c in corners) / DOTS, max(c.x for c in corners) / DOTS
    top, bottom = height - min(c.y for c in corners) / DOTS, height - max(c.y for c in corners) / DOTS
    return Box(left, bottom, right - left, top - bottom)
