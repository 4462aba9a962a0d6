"""Programs at one outbox at the same moment, one of which is killed (see senders.py), and a real mail server."""

import json
import os
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from tests.service.programs import until

ROOT = Path(__file__).resolve().parents[2]
MANY = 40


@pytest.fixture(scope="module")
def program(module_database_url, tmp_path_factory):
    """Starts one, which works on a database of its own."""
    environment = os.environ | {
        "DATABASE_URL": module_database_url,
        "NOUGHTBOOK_DATA": str(tmp_path_factory.mktemp("senders")),
        "DJANGO_SETTINGS_MODULE": "compliance.settings",
        "NOUGHTBOOK_MAIL_FROM": "book@kitchen.example",
    }

    def start(*deed):
        command = [sys.executable, "-m", "tests.notices.senders", *map(str, deed)]
        return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)

    return start


def said(program, *deed):
    started = program(*deed)
    words, _ = started.communicate(timeout=300)
    assert started.returncode == 0
    return words


@pytest.fixture(scope="module")
def prepared(program):
    return json.loads(said(program, "prepare"))


def test_what_two_runs_find_at_one_moment_is_told_once_each(prepared):
    assert prepared == [[True, False], [False, True]]


def test_each_notice_is_sent_once_by_one_of_two_senders(prepared, program, office):
    office.open()
    office.mode = "accept"
    office.letters.clear()
    senders = [program("send", office.port, MANY) for _ in range(2)]
    assert [sender.wait(300) for sender in senders] == [0, 0]
    assert sorted(Counter(letter.number for letter in office.letters).values()) == [1] * 2 * MANY


def test_what_a_killed_sender_held_is_sent_again_a_quarter_of_an_hour_later_with_the_same_number(
    prepared, program, office
):
    office.open()
    office.mode = "accept"
    office.letters.clear()
    office.reads_for = 60
    killed = program("send", office.port, 1)
    until(lambda: office.letters)
    killed.kill()
    killed.wait(60)
    office.reads_for = 0
    assert '["waiting", 1]' in said(program, "send", office.port)
    assert len(office.letters) == 1, "it may be alive for all that the next one knows"
    assert said(program, "send", office.port, 0, 16).strip() == '[["sent", 1], ["sent", 2]]'
    assert len(office.letters) == 2 and len({letter.number for letter in office.letters}) == 1
