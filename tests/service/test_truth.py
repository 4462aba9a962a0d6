"""What a run of kills holds against the health page and the senders: each lie is found, and nothing else."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from tests.service.post import Letter
from tests.service.telling import unmarked
from tests.service.truth import LATE, OFTEN, PATIENCE, RECOVERS, Evidence, Look, Struck, judge

ALL = ("database", "broker", "tasks", "ahead", "mail")


def look(at: float, *unwell: str, evidence: Evidence | None = None) -> Look:
    parts = {name: {"well": name not in unwell, "says": "so", "figure": 0} for name in ALL}
    return Look(at, at + 0.1, 503 if unwell else 200, parts, evidence, evidence, 0.1)


def told(age=0.5, often=0, nearly=0, given_up=0, untried=0.0) -> Evidence:
    return Evidence(age, often, nearly, given_up, untried)


def lies(*looks: Look, struck=()) -> int:
    return len(judge(list(looks), list(struck)).lies)


@pytest.mark.parametrize("part", ALL)
def test_what_is_down_longer_than_health_may_take_to_notice_must_not_be_called_well(part):
    down = Struck("dead", 100, {part: 8}, frozenset([part]), ended=120)
    assert lies(look(107), look(119.95), look(121), struck=[down]) == 0
    assert lies(look(109), struck=[down]) == 1
    assert lies(look(109, part), look(102, part), struck=[down]) == 0


@pytest.mark.parametrize("part", ALL)
def test_what_nothing_has_struck_must_not_be_called_unwell(part):
    other = Struck("dead", 100, {}, frozenset(set(ALL) - {part}), ended=120)
    mine = Struck("dead", 100, {}, frozenset([part]), ended=120)
    assert lies(look(110, part)) == lies(look(110, part), struck=[other]) == 1
    assert lies(look(110, part), look(119 + RECOVERS, part), struck=[mine]) == 0
    assert lies(look(121 + RECOVERS, part), struck=[mine]) == lies(look(99, part), struck=[mine]) == 1


@pytest.mark.parametrize("age, well", [(PATIENCE - 1, True), (PATIENCE + 1, False)])
def test_the_last_run_in_the_database_tells_whatever_was_struck(age, well):
    struck = [Struck("killed", 100, {}, frozenset(["tasks"]), ended=120)]
    evidence = told(age)
    assert lies(look(110, evidence=evidence), struck=struck) == (not well)
    assert lies(look(110, "tasks", evidence=evidence), struck=struck) == well


@pytest.mark.parametrize(
    "rows, well",
    [
        ({}, True),
        ({"often": 1}, False),
        ({"given_up": OFTEN}, False),
        ({"untried": LATE + 1}, False),
        ({"untried": LATE - 1}, True),
    ],
)
def test_the_rows_of_the_outbox_tell_of_mail(rows, well):
    struck = [Struck("mail server away", 100, {}, frozenset(["mail"]), ended=120)]
    assert lies(look(110, evidence=told(**rows)), struck=struck) == (not well)
    assert lies(look(110, "mail", evidence=told(**rows)), struck=struck) == well
    assert lies(look(110, "mail", evidence=told(nearly=1)), look(111, evidence=told(nearly=1)), struck=struck) == 0


def test_what_was_unwell_before_a_look_and_after_it_for_different_reasons_may_have_been_well_between():
    between = replace(look(110), before=told(often=1), after=told(given_up=OFTEN))
    assert lies(between) == 0
    assert lies(replace(between, after=told(often=2))) == 1


@pytest.mark.parametrize(
    "letter, why",
    [
        (Letter("a", None, answered=True, taken=100), ""),
        (Letter("a", None, answered=False, taken=100), "answers withheld"),
        (Letter("a", None, answered=True, taken=49.9, cut=50.2), "senders killed"),
        (Letter("a", None, answered=True, taken=49.9), ""),  # its sender spoke on, and is not who was killed
        (Letter("a", None, answered=True, taken=60, cut=60.2), ""),  # gone, and nobody has killed it
        (Letter("a", None, answered=True, taken=205), "marks lost with the database"),
        (Letter("a", None, answered=True, taken=190), ""),
        (Letter("a", None, answered=True, taken=212), ""),
    ],
)
def test_a_second_mail_is_forgiven_where_the_answer_to_the_first_was_lost_and_nowhere_else(letter, why):
    database = Struck("frozen", 200, {"database": 0.2}, frozenset(), ended=210)
    workers = Struck("dead", 90, {"tasks": 8}, frozenset(), ended=110)
    assert unmarked(SimpleNamespace(kills=[(50, 50.1)], struck=[workers, database]), letter) == why
