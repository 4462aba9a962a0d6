"""What the health page says to whom, with what status."""

import re
import sqlite3

import pytest
import redis
from django.db import OperationalError
from django.test import Client
from django.utils.html import strip_tags

from compliance.notices.outbox_metrics import Backlog
from compliance.service import health, writable
from compliance.service.health import AHEAD, EACH_MINUTE
from shared.trouble import Trouble

WELL = dict.fromkeys((*EACH_MINUTE, AHEAD), 1.0)
HOUR = 3600
NOTHING = Backlog(None, None, 0)


@pytest.fixture
def parts(monkeypatch, settings):
    """Have the database tell these ages and the broker this many tasks; gives the page's parts."""

    def answer(found):
        if isinstance(found, Exception):
            raise found
        return found

    def look(ages=WELL, tasks=None, mail=NOTHING, mail_works=True, unwritable=""):
        settings.BROKER, settings.SWEEP_EVERY = "redis://broker" if tasks is not None else "", 60
        settings.MAIL_WORKS = mail_works
        monkeypatch.setattr(health.task_runs, "ages", lambda: answer(ages))
        monkeypatch.setattr(health, "backlog", lambda now: mail)
        monkeypatch.setattr(health, "unwritable", lambda: unwritable)
        monkeypatch.setattr(health, "waiting_tasks", lambda: answer(tasks))
        reply = Client().get("/health/?format=json")
        return reply.status_code, reply.json()["parts"]

    return look


def unwell(parts) -> set[str]:
    return {name for name, part in parts.items() if not part["well"]}


def test_all_is_well(parts):
    status, told = parts()
    assert (status, unwell(told)) == (200, set())
    status, told = parts(tasks=3)
    assert (status, unwell(told), told["broker"]["figure"]) == (200, set(), 3)


@pytest.mark.parametrize(
    "task, age, well",
    [(task, age, well) for task in EACH_MINUTE for age, well in ((185, True), (186, False), (-186, False))]
    + [(AHEAD, 18 * HOUR + 5, True), (AHEAD, 18 * HOUR + 6, False), (AHEAD, -19 * HOUR, False)],
)
def test_tasks_are_well_for_three_rounds(parts, task, age, well):
    status, told = parts(WELL | {task: age})
    assert status == (200 if well else 503)
    part = "ahead" if task == AHEAD else "tasks"
    assert unwell(told) == (set() if well else {part})
    assert told[part]["figure"] == age


def test_what_was_never_done_is_not_well(parts):
    status, told = parts({})
    assert (status, unwell(told)) == (503, {"tasks", "ahead"})
    assert unwell(parts({task: 1.0 for task in WELL if task != EACH_MINUTE[0]})[1]) == {"tasks"}


@pytest.mark.parametrize("wrong", [OperationalError("host kitchen.example password=secret"), TimeoutError()])
def test_without_the_database_nothing_is_known_and_nothing_is_let_out(parts, wrong):
    status, told = parts(wrong, tasks=0)
    assert (status, unwell(told)) == (503, set(told) - {"broker"})
    assert "secret" not in str(told) and "kitchen" not in str(told)


def test_a_disk_too_full_to_read_from_is_named(parts):
    wrong = OperationalError("disk I/O error")
    wrong.__cause__ = sqlite3.OperationalError("disk I/O error")
    wrong.__cause__.sqlite_errorcode = sqlite3.SQLITE_IOERR_SHMSIZE
    assert parts(wrong)[1]["database"]["says"] == writable.SAYS[Trouble.FULL]


@pytest.mark.parametrize("wrong", [redis.ConnectionError("broker:6379"), TimeoutError()])
def test_a_broker_without_answer_is_named(parts, wrong):
    status, told = parts(tasks=wrong)
    assert (status, unwell(told)) == (503, {"broker"})
    assert "6379" not in str(told)


@pytest.mark.parametrize(
    "mail, well",
    [
        (NOTHING, True),
        (Backlog(900, 900, 0), True),
        (Backlog(901, 901, 0), False),
        (Backlog(40_000, None, 0), True),  # made before quiet hours, and tried once since
        (Backlog(40_000, None, 1), False),
    ],
)
def test_mail_that_does_not_go_out_is_named(parts, mail, well):
    status, told = parts(mail=mail)
    assert (status, unwell(told)) == (200 if well else 503, set() if well else {"mail"})
    assert told["mail"]["figure"] == (mail.oldest or 0)
    assert parts(mail=mail, mail_works=False)[0] == 200


@pytest.mark.parametrize("says", [writable.HELD, *writable.SAYS.values(), writable.NEARLY_FULL.format(3)])
def test_a_database_that_nothing_can_be_saved_in_is_not_well(parts, says):
    status, told = parts(unwritable=says)
    assert (status, unwell(told), told["database"]["says"]) == (503, {"database"}, says)


def test_a_notice_from_before_a_clock_was_set_back_has_waited_no_time(parts):
    assert parts(mail=Backlog(-3500, None, 0))[1]["mail"] == {
        "well": True,
        "says": "the oldest unsent notice has waited 0 s",
        "figure": 0,
    }


@pytest.mark.parametrize(
    "query, accept, kind",
    [
        ("", "*/*", "application/json"),
        ("", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "text/html"),
        ("", "application/json", "application/json"),
        ("?format=json", "text/html", "application/json"),
        ("?format=html", "application/json", "text/html"),
    ],
)
def test_monitors_get_json_and_people_a_page(parts, query, accept, kind):
    parts()
    reply = Client().get(f"/health/{query}", headers={"accept": accept})
    assert reply.headers["Content-Type"].startswith(kind)
    assert "no-store" in reply.headers["Cache-Control"]


def test_people_read_what_is_not_well(parts):
    parts(WELL | {EACH_MINUTE[0]: 4000})
    reply = Client().get("/health/?format=html")
    assert reply.status_code == 503
    rows = [" ".join(strip_tags(row).split()) for row in re.findall(r"<li .*?</li>", reply.content.decode(), re.DOTALL)]
    told = {label: row for row in rows for label in ("Tasks of each minute", "Database") if row.startswith(label)}
    assert told["Tasks of each minute"].endswith("Not well") and "4000 s ago" in told["Tasks of each minute"]
    assert told["Database"].endswith("Well") and not told["Database"].endswith("Not well")


def test_it_asks_no_session_even_of_who_is_signed_in(as_person, manager, parts, django_assert_num_queries):
    client = as_person(manager)
    parts()
    with django_assert_num_queries(0):
        assert client.get("/health/").status_code == 200


def test_nothing_can_be_posted():
    assert Client().post("/health/").status_code == 405


def test_the_page_opens_whatever_is_wrong_with_the_address_of_the_broker(settings, client, db):
    settings.BROKER = "redis+socket:///tmp/nowhere.sock?virtual_host=1"
    assert client.get("/health/?format=json").status_code == 503
