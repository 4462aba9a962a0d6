"""Sending through a real mail server that accepts, refuses, asks to come back, hangs, and forgets to answer."""

import smtplib
from datetime import datetime, timedelta

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from compliance.notices.actions import send_again
from compliance.notices.delivery import claim, message_id, ready, send_waiting
from compliance.notices.delivery_result import LONGEST_PAUSE, MOST_UNCLEAR, pause, result_of
from compliance.notices.models import CLAIMED_FOR, Notice, State
from compliance.notices.outbox_metrics import backlog
from compliance.service.health import mailed
from tests.checks import making

NOON = datetime.fromisoformat("2026-01-14T12:00:00+00:00")
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


def state_of(notice):
    notice.refresh_from_db()
    return notice.state


def soon(moment, since):
    return since <= moment < since + timedelta(seconds=30)


def send_at(moment, **more):
    return send_waiting(lambda: moment, **more)


def test_a_letter_has_both_parts_and_tells_where_to_choose(post, write, world):
    notice = write()
    assert send_at(NOON) == 1
    assert state_of(notice) == State.SENT
    assert (notice.answered, notice.attempts, notice.claimed_at) == ("Taken.", 1, None)
    assert soon(notice.sent_at, NOON)
    (letter,) = post.letters
    assert (letter.recipient, letter.subject) == (world.manager.email, notice.subject)
    assert letter.number == message_id(notice)
    assert letter.message["List-Unsubscribe"] == "<https://kitchen.example/account/notices/>"
    assert letter.message["Auto-Submitted"] == "auto-generated"
    assert letter.message.get_body(["plain"]).get_content().strip() == notice.text
    assert letter.message.get_body(["html"]).get_content().strip() == notice.html


def test_what_is_sent_or_held_is_not_sent(post, write):
    write("a", state=State.SENT)
    write("b", not_before=NOON + HOUR)
    write("c", state=State.PAGE)
    write("d", claimed_at=NOON - MINUTE)
    assert send_at(NOON) == 0
    assert post.letters == []


def test_where_no_mail_server_is_named_any_more_nothing_counts_as_sent(write, settings):
    settings.EMAIL_BACKEND, settings.MAIL_WORKS = "django.core.mail.backends.dummy.EmailBackend", False
    notice = write()
    assert send_at(NOON) == 0
    assert (state_of(notice), notice.attempts) == (State.WAITING, 0)


@pytest.mark.parametrize("kind, probes", [("failed", False), ("overdue", True), ("digest", False)])
def test_one_mail_takes_eight_queries_at_most(post, write, world, kind, probes):
    check = making.bad(world.probe, world.cook, timezone.now() - DAY)
    Notice.objects.all().delete()
    about = {"site": None, "area": world.area, "person": world.supervisor} if kind == "digest" else {}
    asks = [[world.probe.pk, world.probe.state.due_at.isoformat()]] if probes else []
    notice = write(kind=kind, facts=[check.pk], probes=asks, **about)
    with CaptureQueriesContext(connection) as asked:
        send_waiting(lambda: timezone.now().replace(hour=12))
    assert (state_of(notice), len(post.letters)) == (State.SENT, 1)
    assert len(asked) <= 8


def test_a_refusal_for_good_is_kept_with_its_answer_and_does_not_keep_the_others(post, write):
    post.mode = "refuse"
    notices = [write("a"), write("b", in_page=False)]
    assert send_at(NOON) == 2
    assert [state_of(notice) for notice in notices] == [State.FAILED] * 2
    assert notices[0].answered == "554 5.7.1 Not from you"
    assert notices[1].in_page, "it is to be seen after all"


def test_a_server_that_asks_to_come_back_takes_it_later(post, write):
    post.mode = "greylist"
    notice = write(unclear_attempts=3)
    send_at(NOON)
    assert state_of(notice) == State.WAITING
    assert notice.answered == "451 4.7.1 Come back later" and soon(notice.not_before, NOON + MINUTE)
    assert notice.unclear_attempts == 0, "an answer of any kind begins the count anew"
    assert send_at(NOON) == 0  # not at once
    send_at(NOON + HOUR)
    assert (state_of(notice), len(post.letters)) == (State.SENT, 1)


def test_a_server_that_hangs_costs_one_try_and_the_rest_waits_as_it_was(post, write):
    post.mode = "hang"
    first, second = write("a"), write("b")
    assert send_at(NOON) == 1
    assert [state_of(first), state_of(second)] == [State.WAITING] * 2
    assert soon(first.not_before, NOON + MINUTE) and first.answered.startswith("No answer:")
    assert (second.attempts, second.not_before, second.claimed_at) == (0, None, None)
    post.mode = "accept"
    send_at(NOON + HOUR)
    assert [state_of(first), state_of(second)] == [State.SENT] * 2


def test_a_server_that_is_away_for_a_weekend_costs_no_notice_and_is_asked_each_minute(post, write):
    post.shut()
    notice = write()
    for moment in (NOON, NOON + 2 * DAY):
        send_at(moment)
        assert (state_of(notice), notice.not_before) == (State.WAITING, moment + MINUTE)
        assert "refused" in notice.answered and notice.unclear_attempts == 0
    post.open()
    send_at(NOON + 2 * DAY + MINUTE)
    assert state_of(notice) == State.SENT


@pytest.mark.parametrize("way", ["tls", "password"])
def test_a_server_that_offers_no_tls_or_no_passwords_for_a_while_costs_no_mail(post, write, settings, way, caplog):
    settings.EMAIL_USE_TLS = way == "tls"
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = ("u", "p") if way == "password" else ("", "")
    notices = [write("a"), write("b")]
    send_at(NOON)
    assert [state_of(notice) for notice in notices] == [State.WAITING] * 2
    assert "The mail server cannot be reached" in caplog.text


def test_a_lost_answer_makes_a_second_letter_that_can_be_told_by_its_number(post, write):
    post.mode = "forget"
    notice = write()
    send_at(NOON)
    assert state_of(notice) == State.WAITING
    post.mode = "accept"
    send_at(NOON + HOUR)
    assert state_of(notice) == State.SENT
    assert [letter.answered for letter in post.letters] == [False, True]
    assert len({letter.number for letter in post.letters}) == 1


@pytest.mark.parametrize("mode", ["away", "later"])
def test_it_is_tried_for_five_days_and_then_given_up_with_the_last_answer(post, write, monkeypatch, mode):
    """RFC 5321, 4.5.4.1: "the give-up time generally needs to be at least 4-5 days"."""
    if mode == "away":
        post.shut()
    monkeypatch.setattr(post, "_first_time", lambda *who: True)
    post.mode = "greylist"
    notice, now = write(in_page=False), NOON
    while state_of(notice) == State.WAITING:
        send_at(now)
        now += 12 * HOUR
    assert timedelta(days=4) <= now - NOON - 12 * HOUR <= timedelta(days=5, hours=12)
    assert (notice.state, notice.in_page) == (State.FAILED, True)
    assert notice.answered.startswith("Given up") and "The last: " in notice.answered
    assert send_at(now) == 0


def test_who_tries_again_after_it_was_given_up_gets_five_days_more(post, write, world):
    post.shut()
    notice = write(state=State.FAILED, attempts=30, unclear_attempts=MOST_UNCLEAR, tried_since=NOON - 6 * DAY)
    send_again(by=world.supervisor, notice=notice)
    send_at(NOON)
    assert (state_of(notice), notice.attempts) == (State.WAITING, 1)


def test_what_kills_its_sender_each_time_is_given_up_too(post, write):
    notice = write(unclear_attempts=MOST_UNCLEAR, in_page=False, claimed_at=NOON - HOUR)
    again = write("b", unclear_attempts=MOST_UNCLEAR - 1, claimed_at=NOON - HOUR)
    send_at(NOON)
    assert (state_of(notice), notice.in_page) == (State.FAILED, True)
    assert state_of(again) == State.SENT


def test_a_server_that_never_answers_what_it_took_gets_it_a_few_times_only(post, write):
    post.mode = "forget"
    notice = write()
    for hours in range(MOST_UNCLEAR + 2):
        send_at(NOON + hours * HOUR)
    assert state_of(notice) == State.FAILED
    assert len(post.letters) == MOST_UNCLEAR == notice.attempts


def test_of_two_who_read_the_same_outbox_one_has_each_notice(write):
    for number in range(3):
        write(f"n{number}")
    one, two = list(ready(NOON)), list(ready(NOON))
    assert [claim(notice, NOON) for notice in one] == [True] * 3
    assert [claim(notice, NOON) for notice in two] == [False] * 3
    assert set(Notice.objects.values_list("attempts", flat=True)) == {1}


def test_a_dead_senders_notice_is_free_after_a_quarter_of_an_hour(write):
    notice = write()
    claim(notice, NOON)
    assert not claim(notice, NOON + CLAIMED_FOR - MINUTE)
    assert claim(notice, NOON + CLAIMED_FOR)


def test_who_was_sent_one_or_waits_for_its_next_try_is_not_claimed_from_an_old_list(write):
    notice = write()
    for fields in ({"state": State.SENT}, {"state": State.WAITING, "not_before": NOON + HOUR}):
        Notice.objects.update(**fields)
        assert not claim(notice, NOON)


def test_a_clock_that_was_set_back_puts_nothing_off_and_quiet_hours_hold(write):
    tried = write("tried", attempts=1, answered_at=NOON, not_before=NOON + pause(1))
    held = write("held", claimed_at=NOON)
    write("quiet", not_before=NOON + MINUTE)
    assert list(ready(NOON)) == []
    assert list(ready(NOON - 13 * HOUR)) == [held, tried]
    assert list(ready(NOON - timedelta(seconds=3))) == [], "who asked the time a moment before another claimed it"


@pytest.fixture
def meanwhile(monkeypatch):
    """Has something happen when the server is asked something, after its answer."""

    def happens(command, act):
        asked = getattr(smtplib.SMTP, command)
        monkeypatch.setattr(smtplib.SMTP, command, lambda self, *given: (asked(self, *given), act())[0])

    return happens


def test_who_lost_the_claim_and_fails_marks_nothing(post, write, meanwhile):
    notice, other = write(), NOON + HOUR
    meanwhile("data", lambda: Notice.objects.update(claimed_at=other))
    post.mode = "refuse"
    send_at(NOON)
    assert (state_of(notice), notice.claimed_at, notice.answered) == (State.WAITING, other, "")


def test_what_the_server_took_counts_as_sent_whoever_has_claimed_it_by_then(post, write, meanwhile):
    notice = write()
    meanwhile("data", lambda: Notice.objects.update(claimed_at=NOON + HOUR))
    send_at(NOON)
    assert (state_of(notice), notice.claimed_at, notice.answered) == (State.SENT, None, "Taken.")


def test_what_ends_the_task_ends_the_turn_and_the_notice_waits_for_its_next_try(post, write, meanwhile):
    first, second = write("a"), write("b")

    def over():
        raise SoftTimeLimitExceeded

    meanwhile("rcpt", over)
    assert send_at(NOON) == 1
    assert (state_of(first), state_of(second), second.attempts) == (State.WAITING, State.WAITING, 0)
    assert soon(first.not_before, NOON + MINUTE) and first.claimed_at is None


def test_one_connection_serves_a_turn(post, write, monkeypatch):
    opened = []
    connect = smtplib.SMTP.connect
    monkeypatch.setattr(smtplib.SMTP, "connect", lambda self, *a, **k: opened.append(1) or connect(self, *a, **k))
    for number in range(3):
        write(f"n{number}")
    send_at(NOON)
    assert (len(post.letters), len(opened)) == (3, 1)


def test_no_letter_is_begun_when_the_time_is_over(post, write):
    notice = write()
    assert send_at(NOON, seconds=-1) == 0
    assert (state_of(notice), notice.attempts, notice.claimed_at) == (State.WAITING, 0, None)


def test_a_failed_check_is_sent_before_what_can_wait(post, write):
    """At once: not behind the mornings of five hundred sites."""
    write("a", kind="due", made_at=NOON)
    write("b", kind="overdue", made_at=NOON)
    write("c", kind="failed")
    send_at(NOON, most=1)
    assert [letter.subject for letter in post.letters] == ["c"]


def test_where_every_notice_is_refused_the_mail_is_not_well_until_one_is_sent(post, write):
    post.mode, now = "refuse", timezone.now()
    for number in range(3):
        assert mailed(backlog(now)).well
        write(f"n{number}")
        send_at(now)
    health = mailed(backlog(now))
    assert not health.well and health.says == "no notice waits; the last 3 could not be sent, see Mail under Notices"
    assert mailed(backlog(now + timedelta(hours=25))).well
    post.mode = "accept"
    write("well")
    send_at(now + MINUTE)
    assert mailed(backlog(now + MINUTE)).says == "no notice waits"


def test_a_server_that_cannot_be_reached_is_seen_on_the_health_page(post, write):
    post.shut()
    write(made_at=NOON)
    for minutes in range(3):
        send_at(NOON + minutes * MINUTE)
    assert "the mail server has turned down 1" in mailed(backlog(NOON + 3 * MINUTE)).says


@pytest.mark.parametrize(
    "error, final, stop, unclear",
    [
        # RFC 5321, 4.2.1 and 4.2.3: the first digit says whether to try again.
        (smtplib.SMTPRecipientsRefused({"a@b": (550, b"No such user")}), True, False, False),
        (smtplib.SMTPRecipientsRefused({"a@b": (450, b"Busy")}), False, False, False),
        (smtplib.SMTPSenderRefused(553, b"Not you", "a@b"), False, True, False),
        (smtplib.SMTPSenderRefused(552, b"Too large", "a@b"), True, False, False),  # RFC 1870, 6.1
        (smtplib.SMTPDataError(452, b"Full"), False, False, False),
        (smtplib.SMTPDataError(421, b"Closing"), False, True, False),
        (smtplib.SMTPServerDisconnected("gone"), False, True, True),
        (smtplib.SMTPNotSupportedError("SMTPUTF8"), True, False, False),
        (TimeoutError("slow"), False, True, True),
        (RuntimeError("odd"), False, False, False),
    ],
)
def test_what_is_tried_again(error, final, stop, unclear):
    result = result_of(error)
    assert (result.final, result.stop, result.unclear, result.sent) == (final, stop, unclear, False)
    assert result.answer


def test_each_pause_is_twice_the_one_before_and_has_an_end():
    assert [pause(tries) / MINUTE for tries in range(1, 8)] == [1, 2, 4, 8, 16, 32, 60]
    assert pause(30_000) == LONGEST_PAUSE


def test_an_answer_with_a_zero_byte_stops_nothing():
    """PostgreSQL takes no NUL in a text."""
    assert result_of(smtplib.SMTPDataError(550, b"no\x00 such")).answer == "550 no  such"
