"""Sending through a real mail server that accepts, refuses, asks to come back, hangs, and forgets to answer."""

import smtplib
import socket
from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.notices import sending
from compliance.notices.models import Notice, State
from compliance.notices.sending import LeaseLost, claim, hold, ready, send_batch
from compliance.notices.verdicts import AWAY, FIRST_WAIT, KEEP_TRYING, LONGEST_WAIT, UNCLEAR, verdict, wait
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


def test_after_twelve_tries_it_is_given_up_with_the_last_answer(post, write, monkeypatch):
    monkeypatch.setattr(sending, "wait", lambda tries: timedelta(0))
    post.shut()
    notice = write()
    for _ in range(TRIES):
        send_batch()
    assert (now_is(notice), notice.attempts) == (State.FAILED, 12)
    assert notice.answered.startswith("Given up after 12 tries.")
    assert send_batch() == 0


def test_what_kills_its_sender_each_time_is_given_up_too(post, write):
    notice = write(state=State.LEASED, attempts=TRIES, leased_until=timezone.now() - timedelta(seconds=1))
    send_batch()
    assert now_is(notice) == State.FAILED


def test_two_senders_never_have_the_same_notice(write):
    for number in range(7):
        write(f"n{number}")
    now = timezone.now()
    one, two = claim("one", now, 4), claim("two", now, 4)
    assert (len(one), len(two)) == (4, 3)
    assert not {n.pk for n in one} & {n.pk for n in two}
    assert claim("three", now, 4) == []


def test_a_dead_senders_notices_are_free_when_its_lease_is_over(write):
    write()
    now = timezone.now()
    claim("dead", now, 9)
    assert claim("next", now + sending.lease() - timedelta(seconds=1), 9) == []
    assert len(claim("next", now + sending.lease(), 9)) == 1


def test_a_clock_set_back_frees_what_was_claimed_before(write):
    write()
    now = timezone.now()
    claim("dead", now, 9)
    assert len(claim("next", now - timedelta(hours=1), 9)) == 1


def test_who_lost_the_lease_neither_sends_nor_marks(post, write):
    notice = write()
    (mine,) = claim("slow", timezone.now(), 9)
    Notice.objects.update(holder="quick")
    sending._send(sending._Post(), mine, "slow", timezone.now)
    assert post.letters == []
    assert (now_is(notice), notice.holder, notice.attempts) == (State.LEASED, "quick", 0)


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


def test_what_could_not_be_mailed_is_shown_in_the_pages_after_all(post, write):
    post.mode = "refuse"
    notice, killer = write("a", in_page=False), write("b", in_page=False, attempts=TRIES)
    send_batch()
    assert [(now_is(n), n.in_page) for n in (notice, killer)] == [(State.FAILED, True)] * 2


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
        usual = min(FIRST_WAIT * 2 ** (tries - 1), LONGEST_WAIT)
        assert 0.75 * usual <= wait(tries) <= 1.25 * usual
    assert len({wait(5) for _ in range(9)}) > 1


def test_the_waits_of_twelve_tries_outlast_a_day():
    """A mail server may be away for a day: RFC 5321, 4.5.4.1 wants senders to keep trying for longer than that."""
    assert sum((0.75 * min(FIRST_WAIT * 2 ** (n - 1), LONGEST_WAIT) for n in range(1, TRIES)), timedelta()) > timedelta(
        hours=20
    )
