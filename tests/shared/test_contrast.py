"""Colours of the style sheet against WCAG 2.2 (W3C Recommendation, 2023).

Relative luminance and contrast ratio are the definitions of WCAG 2.2; 4.5 : 1 for text is success criterion 1.4.3,
3 : 1 for the edges of controls and the focus mark is 1.4.11.
"""

import re
from pathlib import Path

import pytest

SHEET = Path(__file__).resolve().parents[2] / "shared/static/noughtbook/noughtbook.css"
CSS = SHEET.read_text(encoding="utf-8")
PROPERTY = re.compile(r"--([\w-]+):\s*(#[0-9a-f]{6});")
COLOURS = dict(PROPERTY.findall(CSS.split("}")[0]))
DARK = COLOURS | dict(PROPERTY.findall(CSS.split("(prefers-color-scheme: dark)")[1].split("}")[0]))
THEMES = {"light": COLOURS, "dark": DARK}
GROUNDS = ("paper", "surface")
TONES = ("good", "bad", "doubt", "info")
TEXT = [
    *[(ink, ground) for ink in ("ink", "quiet", "accent", "accent-strong", *TONES) for ground in GROUNDS],
    *[(tone, f"{tone}-wash") for tone in TONES],
    *[(ink, f"{tone}-wash") for tone in TONES for ink in ("ink", "accent")],
    *[("surface", ground) for ground in ("accent", "accent-strong", "bad-strong", *TONES)],
    *[(ink, "accent-wash") for ink in ("ink", "quiet", "accent", "accent-strong")],
    ("quiet", "plain-wash"),
    ("deep-ink", "deep"),
    ("deep-quiet", "deep"),
]
EDGES = [
    ("edge", "paper"),
    ("edge", "surface"),
    ("focus", "paper"),
    ("focus", "surface"),
    ("accent", "paper"),
    ("focus", "focus-halo"),
]


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_spans_one_to_twenty_one():
    """WCAG 2.2, definition of contrast ratio: ratios range from 1 to 21."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#a3201d", "#a3201d") == pytest.approx(1)


def test_the_ratio_of_a_known_grey():
    """#767676 on white is the lightest grey that passes 4.5 : 1 (common practice, figure from memory)."""
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("ink", "ground"), TEXT)
def test_text_can_be_read(theme, ink, ground):
    assert contrast(THEMES[theme][ink], THEMES[theme][ground]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_and_focus_can_be_seen(theme, edge, ground):
    assert contrast(THEMES[theme][edge], THEMES[theme][ground]) >= 3


@pytest.mark.parametrize("colours", THEMES.values(), ids=THEMES)
def test_one_of_the_two_lines_of_the_focus_is_seen_on_the_deep_ground(colours):
    assert max(contrast(colours[line], colours["deep"]) for line in ("focus", "focus-halo")) >= 3


def test_the_dark_theme_has_its_own_of_every_colour_but_the_bar_at_the_top():
    kept = {name for name, colour in DARK.items() if COLOURS[name] == colour}
    assert kept == {"deep", "deep-ink", "deep-quiet"}


def test_pictures_and_pages_use_the_same_tones():
    palette = (SHEET.parents[2] / "charts/palette.py").read_text(encoding="utf-8")
    for name, tone in {"GOOD": "good", "BAD": "bad", "DOUBT": "doubt", "MARK": "info", "INK": "ink"}.items():
        assert f'{name} = HexColor("{COLOURS[tone]}")' in palette


def test_every_property_that_is_used_is_defined():
    defined = set(re.findall(r"--([\w-]+):", CSS))
    assert set(re.findall(r"var\(--([\w-]+)", CSS)) <= defined
