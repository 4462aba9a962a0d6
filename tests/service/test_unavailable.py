"""What is shown while the database has no time, and who is turned away."""

import re
import sqlite3
import threading
from io import BytesIO

import psycopg
import pytest
from django.db import InterfaceError, InternalError, OperationalError, ProgrammingError, connection, transaction
from django.forms import BaseForm, ModelChoiceField
from django.test import RequestFactory
from django.urls import get_resolver
from django.utils.html import strip_tags

from compliance.service import task_runs, unavailable
from compliance.service.unavailable import Gate, broken
from compliance.service.unavailable_page import UNTYPED
from compliance.service.write_tracker import WriteTracker


def of_sqlite(code: int, says: str) -> sqlite3.OperationalError:
    error = sqlite3.OperationalError(says)
    error.sqlite_errorcode = code  # sqlite.org/rescode.html
    return error


BUSY = of_sqlite(517, "database is locked")  # SQLITE_BUSY_SNAPSHOT
NO_COLUMN = of_sqlite(1, "no such column: x")  # SQLITE_ERROR
FULL = of_sqlite(13, "database or disk is full")
GONE = psycopg.OperationalError("the connection is lost")
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
    assert "it is saved once in any case" in page(OperationalError(), sent(), GONE)[1]
    said = page(OperationalError(), sent({"note": "n"}), GONE)[1]
    assert "not known whether" in said and "Look whether it is there" in said


@pytest.mark.parametrize(
    "cause, begun, kept, certain",
    [
        (GONE, False, False, True),  # nothing had been asked of the database that could have been kept
        (GONE, True, False, False),
        (FULL, True, False, True),
        (FULL, True, True, False),  # as where the session cannot be saved after all the rest
    ],
)
def test_it_is_said_to_be_unsaved_only_where_that_is_certain(cause, begun, kept, certain):
    request = sent()
    request.writes = WriteTracker()
    request.writes.begun, request.writes.kept = begun, kept
    said = page(OperationalError(), request, cause)[1]
    assert ("is not saved yet" in said, "It is not known whether" in said) == (certain, not certain)


def test_what_happened_is_said_and_what_was_typed_is_shown():
    said = page(OperationalError(), sent(TYPED | {"used_despite": "no other one at hand", "probe": "12"}), FULL)[1]
    assert "<h1>The disk is full</h1>" in said and "room has to be made" in said
    shown = [" ".join(strip_tags(row).split()) for row in re.findall("<dt>.*?</dd>", said)]
    assert shown == ["LaboratoryFen &quot;Measurement&quot; &lt;1&gt;", "Used despiteno other one at hand"]
    assert 'name="probe" value="12"' in said


def test_a_file_is_to_be_chosen_again():
    request = RequestFactory().post("/readings/import/?signed", {"file": BytesIO(b"taken_at")})
    said = page(OperationalError(), request, FULL)[1]
    assert "choose the file again" in said and 'href="/readings/import/?signed"' in said and "<form" not in said


def test_who_only_looks_need_do_nothing():
    said = page(OperationalError(), RequestFactory().get("/due/"), FULL)[1]
    assert '<meta http-equiv="refresh" content="10">' in said and "tries again by itself" in said
    assert 'http-equiv="refresh"' not in page(OperationalError(), sent(), FULL)[1]


def test_no_record_number_or_hidden_field_is_shown_as_if_somebody_had_typed_it():
    def forms_below(form):
        return {form, *(each for sub in form.__subclasses__() for each in forms_below(sub))}

    assert get_resolver().url_patterns  # which loads all views and so all forms
    ours = [form for form in forms_below(BaseForm) if form.__module__.startswith(("compliance", "sites"))]
    untyped = {
        name
        for form in ours
        for name, field in form.base_fields.items()
        if isinstance(field, ModelChoiceField) or field.widget.is_hidden
    }
    assert len(ours) > 20 and untyped - UNTYPED == set()


@pytest.mark.django_db
def test_a_write_is_kept_when_it_is_committed(django_capture_on_commit_callbacks):
    writes = WriteTracker()
    with connection.execute_wrapper(writes), django_capture_on_commit_callbacks(execute=True):
        task_runs.ages()
        assert not writes.begun
        with pytest.raises(ZeroDivisionError), transaction.atomic():
            task_runs.note("given up")
            1 / 0  # noqa: B018
        assert writes.begun
    assert not writes.kept
    with connection.execute_wrapper(writes), django_capture_on_commit_callbacks(execute=True), transaction.atomic():
        task_runs.note("kept")
    assert writes.kept


def test_a_password_is_not_written_into_a_page():
    said = page(OperationalError(), sent({"username": "m", "password": "ice-and-water"}), BUSY)[1]
    assert "ice-and-water" not in said and "<form" not in said and "go back and type it again" in said


def test_who_only_looks_is_told_to_try_again():
    said = page(OperationalError(), RequestFactory().get("/due/?site=3"), BUSY)[1]
    assert 'href="/due/?site=3"' in said and "<form" not in said


@pytest.mark.parametrize(
    "error, cause, status",
    [
        (OperationalError(), NO_COLUMN, 500),
        (OperationalError(), FULL, 503),
        (OperationalError(), of_sqlite(8, "attempt to write a readonly database"), 503),
        (OperationalError(), of_sqlite(778, "disk I/O error"), 503),  # SQLITE_IOERR_WRITE, as with a quota
        (OperationalError(), of_sqlite(14, "unable to open database file"), 503),
        (OperationalError(), psycopg.errors.DiskFull(), 503),
        (InternalError(), psycopg.errors.ReadOnlySqlTransaction(), 503),
        (ProgrammingError(), psycopg.errors.InsufficientPrivilege(), 503),
        (InternalError(), psycopg.errors.RaiseException(), 500),  # as what guards the facts
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


def test_a_part_of_a_page_stays_with_what_was_typed_and_says_that_it_was_not_saved():
    status, said, headers = page(OperationalError(), sent(HX_Request="true"), BUSY)
    assert (status, headers["HX-Retarget"], headers["HX-Reswap"]) == (503, "#not-saved", "innerHTML")
    assert "is not saved yet" in said and "<form" not in said and "<body" not in said
    looking = RequestFactory().get("/", headers={"HX-Request": "true"})
    assert page(OperationalError(), looking, BUSY)[2]["HX-Reswap"] == "none"


def test_when_nothing_moves_whoever_comes_is_turned_away_and_later_let_in(monkeypatch):
    monkeypatch.setattr(unavailable, "STUCK_AFTER", 0.05)
    gate = Gate(2)
    assert [gate.enter() for _ in range(3)] == [True, True, False]
    gate.leave()
    assert gate.enter()


def test_where_pages_end_one_waits_for_its_turn(monkeypatch):
    monkeypatch.setattr(unavailable, "STUCK_AFTER", 30)
    gate = Gate(1)
    assert gate.enter()
    threading.Timer(0.1, gate.leave).start()
    assert gate.enter()
