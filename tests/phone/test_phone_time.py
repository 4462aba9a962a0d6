"""The time of what a phone kept without network: its own, put right by how far its clock was off."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.phone_time import ALLOWED, AskTime, PhoneTime, phone_words

NOW = datetime(2026, 3, 12, 10, 40, tzinfo=UTC)
SECOND, MINUTE, HOUR = timedelta(seconds=1), timedelta(minutes=1), timedelta(hours=1)


def typed(ago=HOUR, off=2 * SECOND, off_now=3 * SECOND, said=None) -> PhoneTime:
    """On a phone that was ahead by `off` when it was typed."""
    return PhoneTime(at=NOW - ago + off, off=off, off_now=off_now, said=said)


@given(ago=st.timedeltas(timedelta(), timedelta(days=3)), off=st.timedeltas(-ALLOWED, ALLOWED))
def test_a_clock_that_is_a_little_off_is_put_right(ago, off):
    assert typed(ago, off, off).true_time(NOW) == NOW - ago


@pytest.mark.parametrize("off", [ALLOWED + SECOND, -ALLOWED - SECOND, 47 * MINUTE])
def test_a_clock_more_than_five_minutes_off_is_asked_about(off):
    with pytest.raises(AskTime, match="now"):
        typed(off=off, off_now=off).true_time(NOW)
    assert typed(off=off, off_now=off, said=off - MINUTE).true_time(NOW) == NOW - HOUR + MINUTE


@pytest.mark.parametrize("off, off_now", [(SECOND, HOUR), (HOUR, SECOND), (-HOUR, HOUR)])
def test_of_a_clock_that_was_set_meanwhile_it_is_asked_when_that_was(off, off_now):
    with pytest.raises(AskTime, match="then"):
        typed(off=off, off_now=off_now).true_time(NOW)


def test_nothing_is_recorded_before_it_was_done():
    assert typed(ago=-2 * SECOND).true_time(NOW) == NOW
    with pytest.raises(AskTime, match="then"):
        typed(ago=-HOUR).true_time(NOW)


def test_the_record_says_what_the_clock_showed_and_how_far_it_was_off():
    kept = typed(off=47 * MINUTE, off_now=47 * MINUTE, said=46 * MINUTE).kept()
    words = "12 Mar 2026 10:27 GMT by its own clock, which was 47 min ahead; put right by 46 min ahead, as was answered"
    assert phone_words(kept, UTC).replace("UTC", "GMT") == words
    assert phone_words(typed(off=-2 * SECOND).kept(), UTC).endswith("by its own clock, which was 2 s behind")
    assert phone_words(typed(off=timedelta()).kept(), UTC).endswith("by its own clock, which was right")
    assert phone_words(None, UTC) == ""
