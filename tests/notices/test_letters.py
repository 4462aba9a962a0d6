"""Letters as the standards of mail have them (RFC 4954, 5322, 6152)."""

import re
import smtplib

import pytest
from django.utils import timezone

from compliance.notices.delivery import letter, send_waiting
from compliance.notices.models import Notice
from shared.system_checks import check_mail
from tests.notices.test_enqueue import NINE

pytestmark = pytest.mark.usefixtures("mailing")


@pytest.fixture
def notice(world):
    return Notice(pk=7, kind="failed", person=world.manager, subject="s", text="“é”", html="<p>“é”</p>", made_at=NINE)


def test_a_message_id_is_ascii_where_the_senders_domain_is_not(settings, notice):
    settings.DEFAULT_FROM_EMAIL = "Noughtbook <book@küche.example>"
    sent = letter(notice).message()
    assert re.fullmatch(r"<[!-~]+@[!-~]+>", str(sent["Message-ID"]))
    assert "=?" not in sent["Message-ID"]


def test_a_body_is_ascii_for_a_server_without_8bitmime(notice):
    letter(notice).message().as_bytes().decode("ascii")


def test_headers_of_a_long_name_are_short_lines(notice):
    notice.subject = ("Überlingen Gemeinschaftsküche Ñandú 厨房 " * 4)[:200]
    head = letter(notice).message().as_bytes().partition(b"\n\n")[0]
    assert all(len(line) <= 78 for line in head.splitlines()), head


def test_what_a_server_is_sent_is_ascii_too(post, write, monkeypatch):
    """RFC 6152, 3: a message with octets above 127 goes with BODY=8BITMIME, or is encoded."""
    sent, data = [], smtplib.SMTP.data
    monkeypatch.setattr(smtplib.SMTP, "data", lambda self, msg: sent.append(msg) or data(self, msg))
    write(text="“é”", html="<p>“é”</p>")
    send_waiting()
    assert sent[0].isascii()


def test_a_mail_server_password_in_the_clear_is_warned_of(settings):
    """RFC 4954, 4 and 9: AUTH PLAIN only over TLS."""
    settings.MAIL_ASKED, settings.MAIL = True, {"host": "mail.example"}
    settings.EMAIL_HOST, settings.EMAIL_HOST_USER, settings.EMAIL_HOST_PASSWORD = "mail.example", "book", "secret"
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    assert check_mail(None)


def test_an_address_in_a_domain_of_other_letters_is_reached(post, write, world):
    world.manager.email = "mara@küche.example"
    world.manager.save()
    write(made_at=timezone.now())
    send_waiting()
    assert [each.recipient for each in post.letters] == ["mara@xn--kche-0ra.example"]
