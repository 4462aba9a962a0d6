"""Mail to those whose password was set by a link."""

from datetime import time
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from compliance.notices import tasks
from compliance.notices.enqueue import enqueue_due_notices
from compliance.notices.message_sources import NEWS, passwords
from compliance.notices.models import Notice, Notified, QuietHours, State
from compliance.notices.queries import inbox, wishes
from shared.time_text import styled
from sites.actions import make_password_link, use_password_link
from sites.models import PasswordLink
from sites.password_links import tokens

NEW = "brisk-orchard-52"


@pytest.fixture
def link(world):
    """By the supervisor for the cook, who has chosen a password with it."""
    link = make_password_link(by=world.supervisor, person=world.cook)
    use_password_link(by=world.cook, link=link, token=tokens.make_token(link), password=NEW)
    return link


def told():
    return Notice.objects.filter(kind="password")


def test_the_owner_is_written_to_once_whatever_their_role_and_the_hour(link, mailing, world):
    QuietHours.objects.create(person=world.cook, starts=time(0), ends=time(23, 59, 59))
    for _ in range(2):
        tasks.fill()
        tasks.send()
    (letter,) = [letter for letter in mail.outbox if letter.to == ["col.esker@example.test"]]
    made = styled(link.made_at, ZoneInfo("Europe/London"))
    assert letter.subject == "Your password was set anew"
    assert f"by a link that Sol Venn made on {made}" in letter.body
    assert "https://kitchen.example/account/" in letter.body and "Tell your supervisor at once" in letter.body
    assert told().get().state == State.SENT and not passwords(timezone.now()).messages


def test_it_is_told_when_the_link_is_used_and_not_before(world, mailing, client):
    link = make_password_link(by=world.supervisor, person=world.cook)
    tasks.fill()
    assert not told().exists()
    path = reverse("new_password", args=[link.pk, tokens.make_token(link)])
    client.post(path, {"new_password1": NEW, "new_password2": NEW})
    tasks.fill()
    assert told().exists()


def test_what_cannot_be_sent_is_shown_in_the_pages(link, mailing, world):
    enqueue_due_notices(timezone.now())
    told().update(state=State.FAILED, in_page=True)
    assert list(inbox(world.cook)) == [told().get()]


def test_without_mail_nothing_is_written_and_with_it_nothing_is_told_late(link, mailing, settings):
    settings.MAIL_WORKS = False
    enqueue_due_notices(timezone.now())
    assert not told().exists() and not Notified.objects.filter(kind="password").exists()
    settings.MAIL_WORKS = True
    enqueue_due_notices(timezone.now() + NEWS)
    assert not told().exists()
    enqueue_due_notices(timezone.now())
    assert told().exists()


def test_somebody_who_was_stopped_is_told_nothing(link, mailing, world):
    world.cook.is_active = False
    world.cook.save()
    tasks.fill()
    assert not told().exists()


def test_nobody_can_choose_not_to_be_told(world, mailing):
    assert not any(kind.value == "password" for kind in wishes(world.supervisor))


def test_each_of_many_links_is_told_of(world, mailing):
    now = timezone.now()
    people = [world.cook, world.reader, world.manager]
    PasswordLink.objects.bulk_create(
        PasswordLink(person=person, made_by=world.supervisor, used_at=now) for person in people * 10
    )
    tasks.fill()
    assert told().count() == Notified.objects.filter(kind="password").count() == 30
