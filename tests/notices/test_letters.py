"""Letters as the standards of mail have them, and servers that take some things only (RFC 4954, 5322, 6152)."""

import logging
import re
import smtplib
from datetime import UTC, datetime, timedelta

import pytest

from compliance.engine import health
from compliance.notices import sending
from compliance.notices.backlog import backlog
from compliance.notices.models import Notice, State
from compliance.notices.sending import send_batch
from shared.system_checks import check_mail
from tests.engine.post import PostOffice
from tests.notices.test_filling import NINE

pytestmark = pytest.mark.usefixtures("mailing")
HOUR = timedelta(hours=1)


def test_a_message_id_is_ascii_where_the_senders_domain_is_not(settings, world):
    settings.DEFAULT_FROM_EMAIL = "Noughtbook <book@küche.example>"
    notice = Notice(pk=7, kind="failed", person=world.manager, subject="s", text="t", html="t", made_at=NINE)
    sent = sending.letter(notice).message()
    assert re.fullmatch(r"<[!-~]+@[!-~]+>", str(sent["Message-ID"]))
    assert "=?" not in sent["Message-ID"]


def test_a_body_is_ascii_for_a_server_without_8bitmime(world):
    notice = Notice(pk=7, kind="failed", person=world.manager, subject="s", text="“é”", html="<p>“é”</p>", made_at=NINE)
    sending.letter(notice).message().as_bytes().decode("ascii")


def test_headers_of_a_long_name_are_short_lines(world):
    site = "Überlingen Gemeinschaftsküche Ñandú 厨房 " * 4
    notice = Notice(pk=7, kind="failed", person=world.manager, subject=site[:200], text="t", html="t", made_at=NINE)
    raw = sending.letter(notice).message().as_bytes()
    head = raw.partition(b"\n\n")[0]
    assert all(len(line) <= 78 for line in head.splitlines()), head


@pytest.fixture
def server(settings):
    """A mail server that offers neither TLS nor passwords."""

    office = PostOffice()
    settings.EMAIL_BACKEND = "compliance.notices.post.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", office.port, 2
    yield office
    office.shut()


@pytest.fixture
def write(world):
    def made(subject="s", **fields):
        return Notice.objects.create(**{
            "kind": "failed", "person": world.manager, "about": subject, "site": world.site, "subject": subject, "text": "t",
            "html": "<p>t</p>", "link": "/", "in_page": True, "state": State.WAITING, **fields,
        })  # fmt: skip

    return made


def test_a_server_that_has_lost_its_certificate_and_offers_no_tls_costs_no_mail(server, write, settings):
    settings.EMAIL_USE_TLS = True
    for number in range(3):
        write(f"{number}")
    send_batch()
    assert set(Notice.objects.values_list("state", flat=True)) == {State.WAITING}


def test_a_server_that_offers_no_passwords_for_a_while_costs_no_mail(server, write, settings):
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "u", "p"
    for number in range(3):
        write(f"{number}")
    send_batch()
    assert set(Notice.objects.values_list("state", flat=True)) == {State.WAITING}


def test_eight_bits_are_sent_to_who_was_told_of_them(server, write, monkeypatch):
    """RFC 6152, 3: a message with octets above 127 goes with BODY=8BITMIME, or is encoded."""
    told_of = []
    mail_command = smtplib.SMTP.mail
    monkeypatch.setattr(
        smtplib.SMTP, "mail", lambda self, who, options=(): told_of.append(options) or mail_command(self, who, options)
    )
    sent = []
    data = smtplib.SMTP.data
    monkeypatch.setattr(smtplib.SMTP, "data", lambda self, msg: sent.append(msg) or data(self, msg))
    write(text="“é”", html="<p>“é”</p>")
    send_batch()
    assert sent[0].isascii() or any("8bitmime" in str(option).lower() for option in told_of[0])


def test_an_answer_with_a_zero_byte_neither_sends_twice_nor_stops_the_rest(server, write, monkeypatch):
    """PostgreSQL takes no NUL in a text."""
    monkeypatch.setattr("tests.engine.post.PostOffice.handle_DATA", zero_byte)
    for subject in "ab":
        write(subject)
    send_batch()
    assert set(Notice.objects.values_list("state", flat=True)) == {State.SENT}


async def zero_byte(self, server, session, envelope):
    return "250 taken\x00 as 17"


def test_a_mail_server_password_in_the_clear_is_warned_of(settings):
    """RFC 4954, 4 and 9: AUTH PLAIN only over TLS."""

    settings.MAIL_ASKED, settings.MAIL = True, {"host": "mail.example"}
    settings.EMAIL_HOST, settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "mail.example", "book", "secret"
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    assert check_mail(None)


def test_an_address_in_a_domain_of_other_letters_is_reached(server, write, world):
    world.manager.email = "mara@küche.example"
    world.manager.save()
    write()
    send_batch()
    assert [letter.recipient for letter in server.letters] == ["mara@xn--kche-0ra.example"]


def test_a_failed_check_is_sent_before_what_can_wait(server, write):
    """At once: not behind the mornings of five hundred sites."""
    write("a", kind="due")
    write("b", kind="overdue")
    write("c", kind="failed")
    send_batch(lambda: datetime(2026, 3, 11, 12, 0, tzinfo=UTC), most=1)
    assert [letter.subject for letter in server.letters] == ["c"]


def test_whoever_runs_it_sees_that_the_password_is_wrong(server, write, monkeypatch, caplog, settings):
    """In the log as it is without a setting (WARNING), or on the health page."""

    def wrong(self, *given, **more):
        raise smtplib.SMTPAuthenticationError(535, b"5.7.8 Authentication credentials invalid")

    monkeypatch.setattr(smtplib.SMTP, "login", wrong)
    settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "u", "p"
    write()
    now = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
    for minutes in (0, 2, 5, 10, 20):
        send_batch(lambda minutes=minutes: now + timedelta(minutes=minutes))
    assert Notice.objects.get().attempts >= 4
    logged = [record.getMessage() for record in caplog.records if record.levelno >= logging.WARNING]
    assert "535" in health.mailed(backlog(now + HOUR)).says or any("535" in line for line in logged)
