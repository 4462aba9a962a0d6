"""A session that nobody uses ends; one that is used does not, and is not written with every page."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.urls import reverse

IDLE = timedelta(hours=12)
POLL = {"HX-Request": "true"}


@pytest.fixture
def signed_in(clock, world, as_person):
    client = as_person(world.cook)
    assert is_in(client)
    return client


def is_in(client, **headers):
    return client.get(reverse("account"), headers=headers).status_code == 200


def expiry():
    return Session.objects.get().expire_date


def test_it_is_twelve_hours():
    assert IDLE.total_seconds() == settings.SESSION_COOKIE_AGE


def test_a_session_that_is_idle_ends(signed_in, clock):
    clock.shift(IDLE - timedelta(seconds=1))
    assert is_in(signed_in)
    clock.shift(IDLE)
    assert not is_in(signed_in)


def test_a_session_that_is_used_goes_on(signed_in, clock):
    for _ in range(6):
        clock.shift(0.8 * IDLE)
        assert is_in(signed_in)


def test_a_page_that_is_left_open_and_asks_by_itself_keeps_nobody_signed_in(signed_in, clock):
    for _ in range(11):
        clock.shift(IDLE / 12)
        assert is_in(signed_in, **POLL)
    clock.shift(IDLE / 6)
    assert not is_in(signed_in, **POLL)


def test_a_tap_is_somebodys_doing(signed_in, clock):
    clock.shift(0.9 * IDLE)
    signed_in.post(reverse("notice_read_all"), headers=POLL)
    clock.shift(0.9 * IDLE)
    assert is_in(signed_in)


def test_a_session_is_written_ten_times_at_most_while_it_could_be_idle(signed_in, clock):
    expiries = set()
    for _ in range(20):
        clock.shift(IDLE / 20)
        is_in(signed_in)
        expiries.add(expiry())
    assert 5 <= len(expiries) <= 11


def test_a_clock_that_is_set_back_ends_no_session(signed_in, clock):
    clock.shift(-timedelta(days=1))
    assert is_in(signed_in)
    for _ in range(3):
        clock.shift(0.9 * IDLE)
        assert is_in(signed_in)


def test_signing_in_begins_a_new_session(world, client):
    client.get(reverse("sign_in"))
    session = client.session
    session["planted"] = 1
    session.save()
    client.cookies[settings.SESSION_COOKIE_NAME] = session.session_key
    client.post(reverse("sign_in"), {"username": world.cook.email, "password": "quiet-lantern-47"})
    assert client.session.session_key != session.session_key
