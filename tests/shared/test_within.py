"""Questions that are never answered keep nobody waiting and do not pile up."""

import threading
import time
from contextlib import contextmanager

import pytest

from shared import within
from shared.within import MOST, aside, ask
from tests.engine.programs import until


@contextmanager
def hanging():
    """Something that hangs until the block ends; gives it, and what tells how often it was begun."""
    wake, begun = threading.Event(), []

    def hang():
        begun.append(1)
        wake.wait()
        return len(begun)

    yield hang, begun
    wake.set()


def test_an_answer_and_a_failure_reach_who_asked():
    assert ask(lambda: 7).result(5) == 7
    with pytest.raises(ZeroDivisionError):
        ask(lambda: 1 / 0).result(5)


def test_many_who_ask_the_same_at_once_put_one_question_and_all_get_its_answer():
    with hanging() as (hang, begun):
        answers = [ask(hang) for _ in range(50)]
        with pytest.raises(TimeoutError):
            answers[0].result(0.05)
    assert [answer.result(5) for answer in answers] == [1] * 50
    assert len(begun) == 1


def test_who_asks_the_same_later_gets_an_answer_of_now():
    asked = []
    assert [ask(asked.copy).result(5) for _ in range(2)] == [[], []]
    asked.append(1)
    until(lambda: ask(asked.copy).result(5) == [1])


def test_what_hangs_is_asked_anew_and_at_most_so_often(monkeypatch):
    monkeypatch.setattr(within, "SHARED_FOR", 0)
    with hanging() as (hang, begun):
        answers = [ask(hang) for _ in range(MOST + 5)]
        until(lambda: len(begun) == MOST)
        with pytest.raises(TimeoutError, match="too many"):
            answers[-1].result(0)
        assert ask(lambda: 7).result(5) == 7  # another question has its own room
    assert all(answer.result(5) for answer in answers[:MOST])
    until(lambda: hang not in within._waiting, what="the last to have left")
    assert ask(hang).result(5) == MOST + 1


def test_what_is_done_aside_takes_no_room_from_questions_and_leaves_off_when_it_hangs():
    with hanging() as (hang, begun):
        for _ in range(MOST + 5):
            aside(hang)
        until(lambda: len(begun) == MOST)
        assert ask(lambda: 7).result(5) == 7
        time.sleep(0.1)
        assert len(begun) == MOST
    until(lambda: within._aside._value == MOST, what="the last to have left")
    done = threading.Event()
    aside(done.set)
    assert done.wait(5)
