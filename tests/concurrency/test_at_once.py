"""What is left when several people act on the same thing at the same moment (see race.py)."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sites.login_throttle import PER_ACCOUNT_AND_NETWORK
from tests.concurrency import BATHS, IN_BATH, ROUNDS, SHOWN, TRIES

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def left(module_database_url, tmp_path_factory) -> dict[str, dict]:
    data = str(tmp_path_factory.mktemp("data"))
    settings = {
        "DATABASE_URL": module_database_url,
        "NOUGHTBOOK_DATA": data,
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
    }
    done = subprocess.run(
        [sys.executable, "-m", "tests.concurrency.race"],
        cwd=ROOT,
        env=os.environ | settings,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_checks_on_one_probe_leave_the_timeline_that_a_fresh_cut_gives(left):
    found = left["checks_on_one_probe"]
    assert found["wrong"] == []
    assert found["checks"] == 2 * ROUNDS
    assert found["touching"] and found["as_cut_afresh"]
    assert found["spans"] == 3 * ROUNDS + 1


def test_two_decisions_on_the_same_readings_leave_one_current_decision_each(left):
    found = left["decisions_on_one_case"]
    assert found["wrong"] == []
    assert found["decisions"] == 15 * 2 * ROUNDS
    assert found["current"] == found["readings"] == 15


def test_the_same_form_twice_at_once_records_once(left):
    found = left["one_form_twice"]
    assert found["wrong"] == []
    assert found["checks"] == found["voids"] == found["actions"] == found["told"] == ROUNDS
    assert found["readings"] == 2 * ROUNDS
    assert found["imported"] == 300
    assert found["told_apart"] == [[0, 300], [300, 0]]


def test_of_two_who_accept_advice_from_the_same_page_one_is_refused(left):
    found = left["advice_on_one_probe"]
    assert found["wrong"] == []
    assert found["accepted"] == found["refused"] == ROUNDS
    assert found["linked"] and found["in_force"]


def test_of_two_who_give_the_same_name_at_once_one_is_told_that_it_is_taken(left):
    found = left["one_name_twice"]
    assert found["wrong"] == []
    assert found["made"] == [ROUNDS] * 5
    assert found["refused"] == 5 * ROUNDS


def test_rows_laid_ahead_twice_at_once_are_those_that_the_facts_say(left):
    found = left["nights_at_once"]
    assert found["wrong"] == []
    assert found["differs"] == [] and found["fewest"] >= 6
    assert found["excuses"] == found["refused"] == 1


def test_a_shared_bath_finished_from_two_hands_leaves_one_check_a_probe(left):
    found = left["one_bath_finished_twice"]
    assert found["wrong"] == []
    assert found["taps"] == 4 * IN_BATH * BATHS and found["landed"] == [302]
    assert found["checks"] == found["keys"] == found["in_tolerance"] == 2 * IN_BATH * BATHS
    assert found["readings"] == len(SHOWN) * found["checks"]
    assert found["drafts"] == 0


def test_passwords_that_are_tried_at_once_are_counted_before_they_are_looked_at(left):
    found = left["tries_at_once"]
    assert found.pop("wrong") == []
    for told, counted in found.values():  # of those for whom there is no place at the moment nothing is looked at
        assert told.keys() == {"wrong", "wait"} and sum(told.values()) == TRIES
        assert 0 < told["wrong"] == counted <= PER_ACCOUNT_AND_NETWORK


def test_a_link_used_or_made_in_several_places_at_once_is_used_or_made_once(left):
    found = left["links_at_once"]
    assert found["wrong"] == []
    assert found["chosen"] == found["used"] == found["one_of_them"] == 1
    assert found["made"] == found["refused"] == 1


def test_a_check_left_and_finished_at_one_moment_is_recorded_once_with_every_number(left):
    found = left["left_and_finished"]
    assert found["wrong"] == []
    assert found["checks"] == ROUNDS and found["drafts"] == 0
    assert found["numbers"] == found["typed"]
