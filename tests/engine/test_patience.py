"""What is shown while the database has no time, and who is turned away."""

import sqlite3
import threading

import psycopg
import pytest
from django.db import InterfaceError, OperationalError
from django.test import RequestFactory

from compliance.engine import patience
from compliance.engine.patience import Gate, broken

BUSY, NO_COLUMN = sqlite3.OperationalError("database is locked"), sqlite3.OperationalError("no such column: x")
BUSY.sqlite_errorcode, NO_COLUMN.sqlite_errorcode = (
    517,
    1,
)  # SQLITE_BUSY_SNAPSHOT, SQLITE_ERROR: sqlite.org/rescode.html
TYPED = {"key": "0b1d", "laboratory": 'Fen "Measurement" <1>', "note": ""}


def page(error, request, cause=None):
    try:
        raise error from cause
    except Exception:
        response = broken(request)
    return response.status_code, response.content.decode(), response.headers


def sent(typed=TYPED, **headers):
    return RequestFactory().post("/probes/1/certificate/?next=2", typed, headers=headers)


def test_what_was_typed_is_in_the_page_to_be_sent_again():
    status, said, headers = page(OperationalError(), sent(), BUSY)
    assert (status, headers["Retry-After"]) == (503, "10")
    assert 'action="/probes/1/certificate/?next=2"' in said
    assert 'value="Fen &quot;Measurement&quot; &lt;1&gt;"' in said and 'name="note" value=""' in said
    assert "is not saved yet" in said


def test_where_the_answer_got_lost_nobody_is_told_that_nothing_was_saved():
    gone = psycopg.OperationalError("the connection is lost")
    assert "it is saved once in any case" in page(OperationalError(), sent(), gone)[1]
    said = page(OperationalError(), sent({"note": "n"}), gone)[1]
    assert "not known whether" in said and "Look whether it is there" in said


def test_a_password_is_not_written_into_a_page():
    said = page(OperationalError(), sent({"username": "m", "password": "ice-and-water"}), BUSY)[1]
    assert "ice-and-water" not in said and "<form" not in said and "your browser keeps what you typed" in said


def test_who_only_looks_is_told_to_try_again():
    said = page(OperationalError(), RequestFactory().get("/due/?site=3"), BUSY)[1]
    assert 'href="/due/?site=3"' in said and "<form" not in said


@pytest.mark.parametrize(
    "error, cause, status",
    [
        (OperationalError(), NO_COLUMN, 500),
        (OperationalError(), psycopg.errors.UndefinedTable(), 500),  # SQLSTATE classes: PostgreSQL's manual, appendix A
        (OperationalError(), psycopg.errors.DeadlockDetected(), 503),
        (OperationalError(), psycopg.errors.AdminShutdown(), 503),
        (OperationalError(), psycopg.errors.TooManyConnections(), 503),
        (InterfaceError(), psycopg.InterfaceError("the connection is closed"), 503),
        (ValueError("ours"), None, 500),
    ],
)
def test_only_what_passes_by_itself_is_worth_another_try(error, cause, status):
    assert page(error, sent(), cause)[0] == status


def test_a_part_of_a_page_gives_way_only_to_what_was_sent():
    assert page(OperationalError(), sent(HX_Request="true"), BUSY)[2]["HX-Retarget"] == "body"
    looking = RequestFactory().get("/", headers={"HX-Request": "true"})
    assert page(OperationalError(), looking, BUSY)[2]["HX-Reswap"] == "none"


def test_when_nothing_moves_whoever_comes_is_turned_away_and_later_let_in(monkeypatch):
    monkeypatch.setattr(patience, "STUCK_AFTER", 0.05)
    gate = Gate(2)
    assert [gate.enter() for _ in range(3)] == [True, True, False]
    gate.leave()
    assert gate.enter()


def test_where_pages_end_one_waits_for_its_turn(monkeypatch):
    monkeypatch.setattr(patience, "STUCK_AFTER", 30)
    gate = Gate(1)
    assert gate.enter()
    threading.Timer(0.1, gate.leave).start()
    assert gate.enter()
