"""Trying passwords one after another is slowed, and those who merely mistype are let in again."""

from datetime import timedelta

import pytest
from django.urls import reverse

from sites.actions import set_password
from sites.guessing import MOST_FOR_ONE, MOST_FROM_ONE, MOST_HERE, WINDOW
from sites.models import WrongPassword
from tests.world import PASSWORD

EMAIL = "mara.holt@example.test"


@pytest.fixture
def sign_in(world, client, clock):
    def go(password, email=EMAIL, address="192.0.2.1", **headers):
        client.logout()
        given = {"username": email, "password": password}
        return client.post(reverse("sign_in"), given, REMOTE_ADDR=address, **headers)

    return go


def guess(sign_in, times, **where):
    for _ in range(times):
        sign_in("a wrong one", **where)


def test_after_some_wrong_passwords_even_the_right_one_has_to_wait(sign_in, clock):
    guess(sign_in, MOST_HERE - 1)
    assert sign_in(PASSWORD).status_code == 302
    guess(sign_in, MOST_HERE)
    assert "Wait a quarter of an hour" in sign_in(PASSWORD).content.decode()
    clock.shift(WINDOW - timedelta(seconds=1))
    assert sign_in(PASSWORD).status_code == 200
    clock.shift(timedelta(seconds=1))
    assert sign_in(PASSWORD).status_code == 302


def test_waiting_does_not_grow_by_trying(sign_in, clock):
    guess(sign_in, MOST_HERE)
    clock.shift(WINDOW / 2)
    guess(sign_in, 10)
    assert WrongPassword.objects.count() == MOST_HERE
    clock.shift(WINDOW / 2)
    assert sign_in(PASSWORD).status_code == 302


def test_others_at_that_address_and_the_same_person_elsewhere_get_in(sign_in):
    guess(sign_in, MOST_HERE, email=EMAIL.upper())
    assert sign_in(PASSWORD).status_code == 200
    assert sign_in(PASSWORD, email="sol.venn@example.test").status_code == 302
    assert sign_in(PASSWORD, address="192.0.2.2").status_code == 302


def test_an_email_that_nobody_has_is_answered_the_same(sign_in):
    for email in (EMAIL, "nobody@example.test"):
        guess(sign_in, MOST_HERE, email=email)
        assert "Wait a quarter of an hour" in sign_in("x", email=email).content.decode()


def test_guessing_from_many_addresses_is_slowed_too(sign_in):
    for number in range(MOST_FOR_ONE):
        sign_in("a wrong one", address=f"192.0.2.{number}")
    assert sign_in(PASSWORD, address="198.51.100.1").status_code == 200


def test_guessing_for_many_people_is_slowed_too(sign_in):
    for number in range(MOST_FROM_ONE):
        sign_in("a wrong one", email=f"person{number}@example.test")
    assert sign_in(PASSWORD).status_code == 200


def test_a_new_password_ends_the_wait(sign_in, world):
    guess(sign_in, MOST_HERE)
    set_password(by=world.supervisor, person=world.manager, password="brisk-orchard-52")
    assert sign_in("brisk-orchard-52").status_code == 302


def test_behind_a_proxy_the_address_is_the_one_that_the_proxy_saw(sign_in, settings):
    settings.BEHIND_HTTPS = True
    guess(sign_in, MOST_HERE, HTTP_X_FORWARDED_FOR="203.0.113.9, 198.51.100.7")
    assert sign_in(PASSWORD, HTTP_X_FORWARDED_FOR="10.0.0.1, 198.51.100.7").status_code == 200
    assert sign_in(PASSWORD, HTTP_X_FORWARDED_FOR="203.0.113.9, 198.51.100.8").status_code == 302


def test_without_a_proxy_nobody_chooses_an_address(sign_in):
    for number in range(MOST_HERE):
        sign_in("a wrong one", HTTP_X_FORWARDED_FOR=f"198.51.100.{number}")
    assert sign_in(PASSWORD, HTTP_X_FORWARDED_FOR="203.0.113.1").status_code == 200


def test_neither_email_nor_address_is_kept_and_old_tries_go(sign_in, clock):
    guess(sign_in, 2)
    kept = str(list(WrongPassword.objects.values()))
    assert EMAIL not in kept and "192.0.2.1" not in kept
    clock.shift(WINDOW)
    guess(sign_in, 1)
    assert WrongPassword.objects.count() == 1
