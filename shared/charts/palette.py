"""Colours and strokes of all pictures. Every difference that matters is told by shape, pattern or word as well.

Contrast on white (WCAG 2.2, computed): INK 17, QUIET 7, GOOD 6, BAD 7, DOUBT 6, MARK 7 to 1.
"""

from reportlab.lib.colors import HexColor, white

PAPER = white
INK = HexColor("#1b1b1b")
QUIET = HexColor("#555555")
GRID = HexColor("#d9d9d9")
BAND = HexColor("#eef2ee")
HATCH = HexColor("#7a7a7a")
GOOD = HexColor("#1f6b43")
BAD = HexColor("#a3201d")
DOUBT = HexColor("#7d5600")
MARK = HexColor("#1d4f91")

THIN, LINE, BOLD_LINE = 0.6, 1.0, 1.8
TEXT, SMALL = 11.0, 9.5
