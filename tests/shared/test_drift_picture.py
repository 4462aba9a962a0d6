"""The picture of a drift: what is shown, what is left out, and that it is told without colour."""

from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest

from shared.charts.drift import Course, DriftFrame, Found, Turn, drift_picture
from shared.charts.svg import to_svg

NOW = datetime(2026, 3, 11, 12, tzinfo=UTC)
DAY = timedelta(days=1)
SVG = "{http://www.w3.org/2000/svg}"
CHECKS = [Found(NOW - 7 * n * DAY, 0.5 - 0.02 * n, 0.1, used=n < 8) for n in range(12)]
TREND = [(check.at, check.error) for check in CHECKS]
AHEAD = [Course(NOW + 10 * n * DAY, 0.5 + 0.03 * n, 0.4, 0.6 + 0.05 * n) for n in range(10)]


def drawn(found=CHECKS, trend=TREND, course=AHEAD, turns=(), **options):
    given = {
        "tolerance": 1.0,
        "start": NOW - 90 * DAY,
        "now": NOW,
        "end": NOW + 90 * DAY,
        "zone": ZoneInfo("Europe/London"),
    }
    size = {"size": options.pop("size")} if "size" in options else {}
    return drift_picture(found, trend, course, turns, frame=DriftFrame(**given | options), **size)


def tree(drawing):
    return ElementTree.fromstring(to_svg(drawing, "t", "d"))


def words(drawing) -> list[str]:
    return [e.text for e in tree(drawing).iter(f"{SVG}text")]


def count(drawing, kind: str) -> int:
    return len(list(tree(drawing).iter(f"{SVG}{kind}")))


def test_every_check_of_the_period_is_a_mark_and_the_key_tells_both_kinds():
    assert count(drawn(), "circle") == 12 + 2
    older = Found(NOW - 200 * DAY, 0.2, 0.1)
    assert count(drawn([*CHECKS, older]), "circle") == 12 + 2
    assert "before the last change" not in words(drawn(CHECKS[:8]))


def test_the_tolerance_is_written_in_the_unit_of_the_site():
    assert "Tolerance ±1 °C (dashed)" in words(drawn())
    assert "Tolerance ±1.8 °F (dashed)" in words(drawn(unit="F"))
    assert "Error of the probe, °F" in words(drawn(unit="F"))


def test_the_day_of_leaving_is_marked_only_where_it_is_in_sight():
    assert "may leave its tolerance, 20 Apr 2026" in words(drawn(leaves=NOW + 40 * DAY))
    for leaves in (None, NOW + 200 * DAY, NOW - DAY):
        assert not [text for text in words(drawn(leaves=leaves)) if "may leave" in text]


def test_a_change_is_flagged_and_cuts_the_trend():
    turn = Turn(NOW - 24 * DAY, "dropped")
    assert "dropped, 15 Feb" in words(drawn(turns=[turn]))
    assert count(drawn(course=(), turns=[turn]), "polyline") == count(drawn(course=()), "polyline") + 1


def test_nothing_known_says_so():
    text = words(drawn(found=(), trend=(), course=()))
    assert "No checks yet" in text
    assert "trend, and where it leads" not in text


def test_a_narrow_picture_grows_for_its_key_and_says_now():
    narrow = drawn(size=(340, 100))
    assert narrow.width == 340
    assert narrow.height > 200
    assert "now" in words(narrow)
    assert "today" in words(drawn())


def test_a_wild_forecast_does_not_squeeze_the_checks():
    wild = [Course(NOW, 0.5, -50, 50), Course(NOW + 80 * DAY, 0.5, -90, 90)]
    assert max(float(text) for text in words(drawn(course=wild)) if text.startswith("+")) <= 2.5


def test_an_error_beyond_the_axis_is_written_beside_its_mark():
    text = words(drawn([*CHECKS, Found(NOW - 30 * DAY, 7.3, 0.1), Found(NOW - 20 * DAY, -4.0, 0.1)]))
    assert "+7.3 ↑" in text
    assert "−4.0 ↓" in text
    assert not [word for word in words(drawn()) if "↑" in word]


@pytest.mark.parametrize(
    "options",
    [
        {"tolerance": 0},
        {"unit": "K"},
        {"now": NOW + 200 * DAY},
        {"end": NOW - 100 * DAY},
        {"start": datetime(2026, 1, 1)},
    ],
)
def test_what_cannot_be_drawn_is_refused(options):
    with pytest.raises(ValueError):
        drawn(**options)
