"""Pictures: round ticks, standing and verdict told without colour, SVG that a strict page accepts."""

import math
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from shared.charts.axes import Frame, nice_ticks, number, time_ticks, unit_of
from shared.charts.marks import sheet, slanting, width_of
from shared.charts.settling import Display, settling_picture
from shared.charts.svg import to_svg
from shared.charts.timeline import Band, Dot, Flag, probe_timeline, spread
from shared.time_text import minutes_seconds

START = datetime(2025, 3, 1, tzinfo=UTC)
END = START + timedelta(days=60)
LONDON = ZoneInfo("Europe/London")
SVG = "{http://www.w3.org/2000/svg}"


def timeline(spans=(), checks=(), events=(), **options):
    size = {"size": options.pop("size")} if "size" in options else {}
    frame = Frame(**{"tolerance": 1.0, "start": START, "end": END, "zone": LONDON} | options)
    return probe_timeline(list(spans), list(checks), list(events), frame=frame, **size)


def words(drawing) -> list[str]:
    tree = ElementTree.fromstring(to_svg(drawing, "t", "d"))
    return [e.text for e in tree.iter(f"{SVG}text")]


def marks(drawing, kind: str) -> int:
    return len(list(ElementTree.fromstring(to_svg(drawing, "t", "d")).iter(f"{SVG}{kind}")))


def test_ticks_are_round():
    assert nice_ticks(-1.5, 1.5, 6) == [-1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5]
    assert nice_ticks(0, 20, 5) == [0, 5, 10, 15, 20]


@settings(max_examples=200)
@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4), st.integers(2, 10))
@example(1, 401, 2)
def test_ticks_lie_inside_and_are_few(low, span, count):
    ticks = nice_ticks(low, low + span, count)
    assert 1 <= len(ticks) <= count + 1
    assert all(low - span * 1e-6 <= t <= low + span * (1 + 1e-6) for t in ticks)


def test_numbers_have_a_true_minus_and_no_negative_nought():
    assert number(-1.25, 1) == "−1.2"
    assert number(-0.04, 1) == "0.0"


def test_fahrenheit_is_an_offset_for_temperatures_and_none_for_differences():
    # The Fahrenheit scale: ice 32 °F, steam 212 °F, by definition 1.8 °F to the degree Celsius.
    assert unit_of("°F").value(100) == pytest.approx(212)
    assert unit_of("F").value(0) == pytest.approx(32)
    assert unit_of("f").difference(1) == pytest.approx(1.8)
    with pytest.raises(ValueError, match="°C or °F"):
        unit_of("K")


def test_time_ticks_are_midnights_of_the_site_across_the_change_of_clocks():
    # Summer time begins in London on 30 March 2025 (tz database).
    ticks = time_ticks(datetime(2025, 3, 28, tzinfo=UTC), datetime(2025, 4, 2, tzinfo=UTC), LONDON, 6)
    assert [label for _, label in ticks] == ["28 Mar", "29 Mar", "30 Mar", "31 Mar", "1 Apr", "2 Apr"][: len(ticks)]
    assert all(at.astimezone(LONDON).hour == 0 for at, _ in ticks)
    assert ticks[3][0].astimezone(UTC).hour == 23


@settings(max_examples=200)
@given(st.integers(0, 10**9), st.integers(600, 10**9), st.integers(2, 10))
def test_time_ticks_lie_inside_and_are_few(after, seconds, count):
    start = datetime(1990, 1, 1, tzinfo=UTC) + timedelta(seconds=after)
    ticks = time_ticks(start, start + timedelta(seconds=seconds), LONDON, count)
    assert len(ticks) <= count + 2
    assert all(start <= at <= start + timedelta(seconds=seconds) for at, _ in ticks)


def test_an_axis_that_ends_before_it_starts_is_refused():
    with pytest.raises(ValueError, match="end after"):
        time_ticks(END, START, LONDON)
    with pytest.raises(ValueError, match="zone"):
        time_ticks(datetime(2025, 1, 1), END, LONDON)


def test_elapsed_time_in_words():
    assert [minutes_seconds(s) for s in (0, 40, 120, 150)] == ["0 s", "40 s", "2 min", "2 min 30 s"]


def test_svg_is_named_escaped_and_has_no_style():
    drawing = timeline(events=[Flag(START + timedelta(days=3), "<script>&")])
    text = to_svg(drawing, "Probe <7>", "Checks & spans", prefix="p7")
    tree = ElementTree.fromstring(text)
    assert "<script" not in text and "<?xml" not in text and "<!DOCTYPE" not in text
    assert tree.get("role") == "img" and tree.get("viewBox") == f"0 0 {drawing.width:g} {drawing.height:g}"
    assert tree.find(f"{SVG}title").text == "Probe <7>" and tree.find(f"{SVG}desc").text == "Checks & spans"
    assert not any(e.get("style") for e in tree.iter())
    assert '=""' not in text  # of which some browsers complain in their console


def test_a_hatching_is_drawn_line_by_line_and_stays_in_its_box():
    drawing = sheet(40, 20)
    drawing.add(slanting((10, 5), (20, 10), gap=10))
    paths = ElementTree.fromstring(to_svg(drawing, "t", "d")).iter(f"{SVG}path")
    # Heights are counted from above.
    assert [path.get("d") for path in paths] == ["M 25,15 L 30,10 M 15,15 L 25,5 M 10,10 L 15,5"]


def test_ids_of_two_pictures_differ_and_none_occurs_twice():
    def ids(prefix):
        tree = ElementTree.fromstring(to_svg(timeline(), "t", "d", prefix=prefix))
        return [e.get("id") for e in tree.iter() if e.get("id")]

    assert len(ids("a")) == len(set(ids("a")))
    assert not set(ids("a")) & set(ids("b"))


def test_a_picture_without_a_title_or_with_a_broken_prefix_is_refused():
    with pytest.raises(ValueError, match="title"):
        to_svg(timeline(), " ", "d")
    with pytest.raises(ValueError, match="prefix"):
        to_svg(timeline(), "t", "d", prefix='x" onload="')


@pytest.mark.parametrize("count", [0, 1, 2, 30, 200])
@pytest.mark.parametrize("unit", ["C", "F"])
def test_settling_is_drawn_for_any_number_of_readings(count, unit):
    points = [(n * 2.0, round(20 * math.exp(-n / 6), 1)) for n in range(count)]
    settled, residual = (0.0, 0.05) if count > 25 else (None, 1.0 if count > 1 else None)
    drawing = settling_picture(points, Display(0.1, 1.0, unit=unit), settled, residual)
    assert any(f"°{unit}" in w for w in words(drawing))
    assert marks(drawing, "circle") == sum(1 for _ in _seen(drawing))


def _seen(drawing):
    """Every mark lies within the picture."""
    for circle in ElementTree.fromstring(to_svg(drawing, "t", "d")).iter(f"{SVG}circle"):
        if 0 <= float(circle.get("cx")) <= drawing.width and 0 <= float(circle.get("cy")) <= drawing.height:
            yield circle


def test_settling_says_where_it_stands():
    assert "No reading yet" in words(settling_picture([], Display(0.1)))
    assert "Still to come: up to 0.4 °C" in words(settling_picture([(0, 20), (9, 1.0)], Display(0.1), None, 0.4))
    assert "Settled at 31.64 °F" in words(settling_picture([(0, 20), (9, -0.2)], Display(0.1, unit="F"), -0.2, 0.05))


@pytest.mark.parametrize(
    ("arguments", "words_"), [((Display(0.0),), "resolution"), ((Display(0.1), None, -1.0), "negative")]
)
def test_settling_refuses_what_cannot_be(arguments, words_):
    with pytest.raises(ValueError, match=words_):
        settling_picture([(0, 1)], *arguments)


def test_standings_are_told_by_word_and_by_pattern():
    def strip(standing):
        return timeline([Band(None, None, standing)])

    shown = {s: strip(s) for s in ("proven", "pending", "quarantined", "unproven")}
    for standing, drawing in shown.items():
        assert standing in words(drawing)
    strokes = {s: marks(d, "path") for s, d in shown.items()}
    assert strokes["quarantined"] > strokes["pending"] > strokes["proven"]
    assert 'stroke-dasharray="3, 2"' in to_svg(shown["unproven"], "t", "d")


def test_verdicts_have_shapes_of_their_own():
    def one(verdict):
        return timeline(checks=[Dot(START + timedelta(days=5), 0.2, None, verdict)])

    corners = [
        sorted(
            len(p.get("points").replace(",", " ").split()) // 2
            for p in ElementTree.fromstring(to_svg(one(v), "t", "d")).iter(f"{SVG}polygon")
        )
        for v in ("in_tolerance", "out_of_tolerance", "inconclusive")
    ]
    assert corners == [[], [4, 4], [3, 3]]


def test_an_error_off_the_scale_is_written_out():
    drawing = timeline(checks=[Dot(START + timedelta(days=5), 7.2, 0.2, "out_of_tolerance")])
    assert "+7.2 ↑" in words(drawing)


def test_checks_outside_the_period_are_left_out():
    late = Dot(END + timedelta(days=1), 0.1, 0.1, "in_tolerance")
    assert "No checks in this period" in words(timeline(checks=[late]))


def test_the_narrow_picture_keeps_its_words_inside():
    spans = [Band(None, START + timedelta(days=20), "proven"), Band(START + timedelta(days=20), None, "pending")]
    flags = [Flag(START + timedelta(days=d), "Moved to another kitchen a long way off " * 3) for d in (1, 2)]
    drawing = timeline(spans, [Dot(START + timedelta(days=20), 0.2, 0.1, "in_tolerance")], flags, size=(340, 300))
    assert drawing.width == 340
    tree = ElementTree.fromstring(to_svg(drawing, "t", "d"))
    for text in tree.iter(f"{SVG}text"):
        size, x = float(text.get("font-size").removesuffix("px")), float(text.get("x"))
        wide = width_of(text.text, size, strong=text.get("font-weight") == "700")
        x -= {"end": wide, "middle": wide / 2}.get(text.get("text-anchor"), 0)
        assert x >= -0.5 and x + wide <= 340.5, text.text


def test_tags_are_spread_apart_within_the_picture():
    moved = spread([10, 11, 12, 95, 96], 15, 5, 100)
    assert all(b - a >= 15 - 1e-9 for a, b in zip(moved, moved[1:], strict=False))
    assert moved[0] >= 5 and moved[-1] <= 100


@pytest.mark.parametrize(
    ("change", "words_"),
    [
        ({"tolerance": 0}, "tolerance"),
        ({"unit": "K"}, "°C or °F"),
        ({"spans": [Band(None, None, "good")]}, "standing"),
        ({"checks": [Dot(END, 0.1, 0.1, "fine")]}, "verdict"),
    ],
)
def test_the_timeline_refuses_what_it_does_not_know(change, words_):
    with pytest.raises(ValueError, match=words_):
        timeline(**change)
