"""Questions that are never answered keep nobody waiting and do not pile up."""

import threading
import time

import pytest

from shared.within import ask


def test_an_answer_and_a_failure_reach_who_asked():
    assert ask(lambda: 7).result(5) == 7
    with pytest.raises(ZeroDivisionError):
        ask(lambda: 1 / 0).result(5)


def test_what_hangs_is_left_and_at_most_eight_hang_at_once():
    wake, asked = threading.Event(), []

    def hang():
        asked.append(1)
        wake.wait()

    waiting = [ask(hang) for _ in range(20)]
    with pytest.raises(TimeoutError):
        waiting[0].result(0.05)
    with pytest.raises(TimeoutError, match="too many"):
        waiting[-1].result(0)
    assert len(asked) == 8
    wake.set()
    assert [answer.result(5) for answer in waiting[:8]] == [None] * 8
    time.sleep(0.1)  # until the last has left
    assert ask(lambda: 7).result(5) == 7
