"""Sending through a real mail server that accepts, refuses, asks to come back, hangs, and forgets to answer."""

import smtplib
import socket
from datetime import UTC, datetime, timedelta

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.utils import timezone

from compliance.engine.health import mailed
from compliance.notices import sending
from compliance.notices.actions import send_again
from compliance.notices.backlog import backlog
from compliance.notices.models import Notice, State
from compliance.notices.sending import LeaseLost, claim, hold, ready, send_batch
from compliance.notices.verdicts import AWAY, FIRST_WAIT, LONGEST_WAIT, UNCLEAR, verdict, wait
from tests.engine.post import PostOffice


@pytest.fixture(scope="module")
def office():
    office = PostOffice()
    yield office
    office.shut()


@pytest.fixture
def post(office, settings, mailing):
    office.open()
    office.mode = "accept"
    office.letters.clear()
    office.asked.clear()
    settings.EMAIL_BACKEND = "compliance.notices.post.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", office.port, 0.5
    return office


@pytest.fixture
def write(world):
    def made(subject="Alder School: check probe P1 today", **fields):
        fields = {
            "kind": "failed", "person": world.manager, "about": subject, "site": world.site, "subject": subject,
            "text": "Check it: é", "html": "<p>Check it: é</p>", "link": "/", "in_page": True, "state": State.WAITING, **fields,
        }  # fmt: skip
        return Notice.objects.create(**fields)

    return made


def now_is(notice):
    notice.refresh_from_db()
    return notice.state


def later(hours):
    return lambda: timezone.now() + timedelta(hours=hours)


def at(moment):
    return lambda: moment


def test_a_letter_has_both_parts_and_tells_where_to_choose(post, write, world):
    notice = write()
    assert send_batch() == 1
    assert now_is(notice) == State.SENT
    assert (notice.answered, notice.attempts, notice.holder) == ("250 2.0.0 Taken", 1, "")
    assert notice.sent_at
    (letter,) = post.letters
    assert letter.recipient == world.manager.email
    assert letter.subject == notice.subject
    assert letter.number == sending.message_id(notice)
    assert letter.message["List-Unsubscribe"] == "<https://kitchen.example/account/notices/>"
    assert letter.message["Auto-Submitted"] == "auto-generated"
    assert letter.message.get_body(["plain"]).get_content().strip() == notice.text
    assert letter.message.get_body(["html"]).get_content().strip() == notice.html


def test_what_is_sent_or_held_is_not_sent(post, write):
    write("a", state=State.SENT)
    write("b", not_before=timezone.now() + timedelta(hours=1))
    write("c", state=State.PAGE)
    assert send_batch() == 0
    assert post.letters == []


def test_a_refusal_for_good_is_kept_with_its_answer_and_does_not_keep_the_others(post, write):
    post.mode = "refuse"
    notices = [write("a"), write("b")]
    assert send_batch() == 2
    assert [now_is(n) for n in notices] == [State.FAILED] * 2
    assert notices[0].answered == "554 5.7.1 Not from you"


def test_a_server_that_asks_to_come_back_takes_it_later(post, write):
    post.mode = "greylist"
    notice = write()
    send_batch()
    assert now_is(notice) == State.WAITING
    assert notice.answered == "451 4.7.1 Come back later"
    assert send_batch() == 0  # not at once
    send_batch(later(1))
    assert now_is(notice) == State.SENT
    assert len(post.letters) == 1


def test_a_server_that_hangs_costs_one_try_and_the_rest_waits_as_it_was(post, write):
    post.mode = "hang"
    first, second = write("a"), write("b")
    assert send_batch(seconds=0.9) == 1
    assert [now_is(first), now_is(second)] == [State.WAITING] * 2
    assert first.not_before > timezone.now()
    assert first.answered.startswith("No answer:")
    assert (second.attempts, second.not_before, second.holder) == (0, None, "")
    post.mode = "accept"
    send_batch(later(1))
    assert [now_is(first), now_is(second)] == [State.SENT] * 2


def test_a_server_that_is_not_there(post, write):
    post.shut()
    notice = write()
    send_batch()
    assert now_is(notice) == State.WAITING
    post.open()
    send_batch(later(1))
    assert now_is(notice) == State.SENT


def test_a_lost_answer_makes_a_second_letter_that_can_be_told_by_its_number(post, write):
    post.mode = "forget"
    notice = write()
    send_batch()
    assert now_is(notice) == State.WAITING
    post.mode = "accept"
    send_batch(later(1))
    assert now_is(notice) == State.SENT
    assert [letter.answered for letter in post.letters] == [False, True]
    assert len({letter.number for letter in post.letters}) == 1


def test_a_server_that_is_away_from_friday_evening_to_monday_morning_costs_no_notice(post, write, monkeypatch):
    """And when it is back it is asked within minutes, however often it was asked in vain."""
    waits = []
    monkeypatch.setattr(sending, "wait", lambda tries, gone: waits.append((tries, gone)) or timedelta(hours=3))
    post.shut()
    notice = write()
    now, back = datetime(2026, 1, 16, 17, 0, tzinfo=UTC), datetime(2026, 1, 19, 7, 0, tzinfo=UTC)
    while now < back:
        send_batch(at(now))
        assert now_is(notice) == State.WAITING
        now = notice.not_before
    assert waits == [(tries, True) for tries in range(1, 22)]
    assert max(wait(tries, gone=True) for tries, _ in waits) < timedelta(minutes=20)
    post.open()
    send_batch(at(now))
    assert now_is(notice) == State.SENT


@pytest.mark.parametrize("mode", ["away", "later"])
def test_it_is_tried_for_five_days_and_then_given_up_with_the_last_answer(post, write, monkeypatch, mode):
    """RFC 5321, 4.5.4.1: "the give-up time generally needs to be at least 4-5 days"."""
    monkeypatch.setattr(sending, "wait", lambda tries, gone: timedelta(hours=12))
    if mode == "away":
        post.shut()
    monkeypatch.setattr(post, "_first_time", lambda *who: True)
    post.mode = "greylist"
    notice = write(in_page=False)
    begun = now = timezone.now()
    while now_is(notice) == State.WAITING:
        send_batch(at(now))
        now += timedelta(hours=12)
    assert timedelta(days=4) <= now - begun - timedelta(hours=12) <= timedelta(days=5)
    assert (notice.state, notice.in_page) == (State.FAILED, True)
    assert notice.answered.startswith("Given up after 11 tries. The last: ")
    assert send_batch(at(now)) == 0


def test_who_tries_again_after_it_was_given_up_gets_five_days_more(post, write, world):
    post.shut()
    notice = write(state=State.FAILED, attempts=30, cut_short=UNCLEAR, tried_since=timezone.now() - timedelta(days=6))
    send_again(by=world.supervisor, notice=notice)
    send_batch()
    assert (now_is(notice), notice.attempts) == (State.WAITING, 1)


def test_what_kills_its_sender_each_time_is_given_up_too(post, write):
    over = timezone.now() - timedelta(seconds=1)
    notice = write(state=State.LEASED, cut_short=UNCLEAR, in_page=False, leased_at=over, leased_until=over)
    again = write("b", state=State.LEASED, cut_short=UNCLEAR - 1, leased_at=over, leased_until=over)
    send_batch()
    assert (now_is(notice), notice.in_page) == (State.FAILED, True)
    assert (now_is(again), again.cut_short) == (State.SENT, 0)


def test_a_server_that_never_answers_what_it_took_gets_it_a_few_times_only(post, write, monkeypatch):
    monkeypatch.setattr(sending, "wait", lambda tries, gone: timedelta(0))
    post.mode = "forget"
    notice = write()
    for _ in range(UNCLEAR + 2):
        send_batch()
    assert now_is(notice) == State.FAILED
    assert len(post.letters) == UNCLEAR == notice.attempts


def test_an_answer_of_any_kind_begins_the_count_anew(post, write):
    post.mode = "greylist"
    notice = write(cut_short=3)
    send_batch()
    assert (now_is(notice), notice.cut_short) == (State.WAITING, 0)


def test_of_two_who_read_the_same_outbox_one_has_each_notice(write):
    for number in range(3):
        write(f"n{number}")
    now = timezone.now()
    one, two = list(ready(now)), list(ready(now))
    assert [claim(notice, "one", now, 9) for notice in one] == [True] * 3
    assert [claim(notice, "two", now, 9) for notice in two] == [False] * 3
    assert set(Notice.objects.values_list("holder", "attempts")) == {("one", 1)}


def moved(notice, **by):
    """As if the lease had been granted so much later."""
    notice.refresh_from_db()
    later = timedelta(**by)
    Notice.objects.update(leased_at=notice.leased_at + later, leased_until=notice.leased_until + later)


def test_a_dead_senders_notice_is_free_when_its_lease_is_over(write):
    notice, now = write(), timezone.now()
    claim(notice, "dead", now, 100)
    moved(notice, seconds=-100)
    assert not claim(notice, "next", now, 9)  # time to mark it is left
    moved(notice, seconds=-sending.TO_MARK)
    assert claim(notice, "next", now, 9)


def test_after_a_clock_was_set_back_a_lease_is_as_long_as_it_was(write):
    notice, now = write(), timezone.now()
    claim(notice, "dead", now, 9)
    moved(notice, hours=1)
    assert not claim(notice, "next", now, 9), "its sender may have handed it over this very moment"
    sending.count_anew()
    moved(notice, seconds=-9)
    assert not claim(notice, "next", now, 9)
    moved(notice, seconds=-sending.TO_MARK)
    assert claim(notice, "next", now, 9)


def test_a_batch_counts_leases_of_a_clock_that_was_set_back_anew(post, write):
    notice = write()
    claim(notice, "dead", timezone.now(), 9)
    moved(notice, hours=1)
    send_batch()
    moved(notice, seconds=-9 - sending.TO_MARK)
    send_batch()
    assert now_is(notice) == State.SENT and len(post.letters) == 1


def test_a_sender_whose_clock_is_set_back_keeps_what_it_holds_and_no_longer(write):
    notice, now = write(), timezone.now()
    claim(notice, "one", now, 100)
    moved(notice, hours=1)
    sending.hold(notice, "one", 9)
    sending.count_anew()
    assert not claim(notice, "two", now, 9)
    moved(notice, seconds=-9 - sending.TO_MARK)
    assert claim(notice, "two", now, 9)


def test_who_asked_the_time_before_another_claimed_it_does_not_take_it_for_a_clock_set_back(write):
    notice, now = write(), timezone.now()
    claim(notice, "one", now, 9)
    moved(notice, seconds=3)
    assert not claim(notice, "two", now, 9)
    Notice.objects.update(cut_short=UNCLEAR)
    sending.give_up(now)
    assert now_is(notice) == State.LEASED


def test_who_was_sent_one_or_waits_for_its_next_try_is_not_claimed_from_an_old_list(write):
    notice, now = write(), timezone.now()
    for told in ({"state": State.SENT}, {"state": State.WAITING, "not_before": now + timedelta(hours=1)}):
        Notice.objects.update(**told)
        assert not claim(notice, "late", now, 9)


@pytest.fixture
def meanwhile(monkeypatch):
    """Has something happen when the server is asked something, after its answer."""

    def happens(command, act):
        asked = getattr(smtplib.SMTP, command)
        monkeypatch.setattr(smtplib.SMTP, command, lambda self, *given: (asked(self, *given), act())[0])

    return happens


def test_who_lost_the_lease_before_the_message_is_handed_over_neither_sends_nor_marks(post, write, meanwhile):
    first, second = write("a"), write("b")
    meanwhile("rcpt", lambda: Notice.objects.filter(pk=first.pk).update(holder="quick"))
    assert send_batch() == 1
    assert [letter.subject for letter in post.letters] == ["b"]
    assert (now_is(first), first.holder) == (State.LEASED, "quick")
    assert now_is(second) == State.SENT


def test_who_lost_the_lease_and_fails_marks_nothing(post, write, meanwhile):
    notice = write()
    meanwhile("data", lambda: Notice.objects.update(holder="quick"))
    post.mode = "refuse"
    send_batch()
    assert (now_is(notice), notice.holder, notice.answered) == (State.LEASED, "quick", "")


def test_what_the_server_took_counts_as_sent_whoever_has_the_lease_by_then(post, write, meanwhile):
    notice = write()
    claimed = []
    meanwhile("data", lambda: claimed.append(Notice.objects.update(holder="quick")))
    send_batch()
    assert (now_is(notice), notice.holder, notice.answered) == (State.SENT, "", "250 2.0.0 Taken")
    with pytest.raises(LeaseLost):
        hold(notice, "quick", 9)  # and so its next holder sends nothing


def test_a_lease_outlasts_what_is_done_under_it(post, write, meanwhile):
    """Nine answers before a message is handed over; then three signs of life of who waits for the answer."""
    write()
    left = []
    note = lambda: left.append((Notice.objects.get().leased_until - timezone.now()).total_seconds())  # noqa: E731
    meanwhile("rcpt", note)
    meanwhile("data", note)
    send_batch(seconds=900)
    before, after = left
    assert 9 * 0.5 < before <= 9 * 0.5 + sending.TO_MARK
    assert 1.5 * 0.5 < after <= 1.5 * 0.5 + sending.TO_MARK


def test_what_ends_the_task_ends_the_batch_and_the_notice_waits_for_its_next_try(post, write, meanwhile):
    first, second = write("a"), write("b")

    def over():
        raise SoftTimeLimitExceeded

    meanwhile("rcpt", over)
    with pytest.raises(SoftTimeLimitExceeded):
        send_batch()
    assert (now_is(first), now_is(second), second.attempts) == (State.WAITING, State.WAITING, 0)
    assert first.not_before > timezone.now() and first.holder == ""


def test_one_connection_serves_a_batch(post, write, monkeypatch):
    opened = []
    connect = smtplib.SMTP.connect
    monkeypatch.setattr(smtplib.SMTP, "connect", lambda self, *a, **k: opened.append(1) or connect(self, *a, **k))
    for number in range(3):
        write(f"n{number}")
    send_batch()
    assert (len(post.letters), len(opened)) == (3, 1)


def test_no_letter_is_begun_when_the_time_is_over(post, write):
    notice = write()
    assert send_batch(seconds=-1) == 0
    assert (now_is(notice), notice.attempts, notice.holder) == (State.WAITING, 0, "")


def test_nothing_is_sent_to_who_is_gone(post, write, world):
    world.manager.is_active = False
    world.manager.save()
    notice = write()
    send_batch()
    assert now_is(notice) == State.NEEDLESS
    assert post.letters == []


def test_nothing_is_sent_to_who_changed_places_while_it_waited(post, write, world):
    notice = write()
    area = write("North: the week", person=world.supervisor, site=None, area=world.area)
    world.manager.memberships.all().delete()
    send_batch()
    assert (now_is(notice), notice.answered) == (
        State.NEEDLESS,
        "This person has no role there any more that is told of it.",
    )
    assert (now_is(area), [letter.recipient for letter in post.letters]) == (State.SENT, [world.supervisor.email])


def test_where_every_notice_is_refused_the_mail_is_not_well_until_one_is_sent(post, write):
    post.mode = "refuse"
    for number in range(3):
        assert mailed(backlog(timezone.now())).well
        write(f"n{number}")
        send_batch()
    said = mailed(backlog(timezone.now()))
    assert not said.well and said.says == "no notice waits; the last 3 could not be sent, see Mail under Notices"
    assert mailed(backlog(timezone.now() + timedelta(hours=25))).well
    post.mode = "accept"
    write("well")
    send_batch()
    assert mailed(backlog(timezone.now())).says == "no notice waits"


def test_what_could_not_be_mailed_is_shown_in_the_pages_after_all(post, write):
    post.mode = "refuse"
    notice = write("a", in_page=False)
    send_batch()
    assert (now_is(notice), notice.in_page) == (State.FAILED, True)


@pytest.mark.parametrize(
    "error, final, gone",
    [
        # RFC 5321, 4.2.1 and 4.2.3: the first digit says whether to try again.
        (smtplib.SMTPRecipientsRefused({"a@b": (550, b"No such user")}), True, False),
        (smtplib.SMTPRecipientsRefused({"a@b": (450, b"Busy")}), False, False),
        (smtplib.SMTPSenderRefused(553, b"Not you", "a@b"), False, True),
        (smtplib.SMTPSenderRefused(552, b"Too large", "a@b"), True, False),  # RFC 1870, 6.1
        (smtplib.SMTPDataError(452, b"Full"), False, False),
        (smtplib.SMTPDataError(421, b"Closing"), False, True),
        (smtplib.SMTPAuthenticationError(535, b"Wrong password"), False, True),
        (smtplib.SMTPConnectError(554, b"No"), False, True),
        (smtplib.SMTPServerDisconnected("gone"), False, True),
        (smtplib.SMTPNotSupportedError("SMTPUTF8"), True, False),
        (smtplib.SMTPNotSupportedError("STARTTLS extension not supported by server."), False, True),
        (TimeoutError("slow"), False, True),
        (socket.gaierror("unknown host"), False, True),
        (RuntimeError("odd"), False, False),
    ],
)
def test_what_is_tried_again(error, final, gone):
    found = verdict(error)
    assert (found.final, found.gone) == (final, gone)
    assert found.said


def test_each_wait_is_twice_the_one_before_give_or_take_a_quarter_and_has_an_end():
    for tries in range(1, 40):
        for gone, longest in ((False, LONGEST_WAIT), (True, AWAY)):
            usual = min(FIRST_WAIT * 2 ** (tries - 1), longest)
            assert 0.75 * usual <= wait(tries, gone=gone) <= 1.25 * usual
    assert wait(30_000) <= 1.25 * LONGEST_WAIT
    assert len({wait(5) for _ in range(9)}) > 1
