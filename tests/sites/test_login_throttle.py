"""Guessing is slowed per account and network; known devices have tries of their own, and right passwords cost nothing."""

from contextlib import suppress
from datetime import timedelta

import pytest
from django.conf import settings as django_settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.core.exceptions import ValidationError
from django.test import Client, RequestFactory
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from sites.actions import change_password, stop_person
from sites.known_devices import COOKIE
from sites.login_throttle import (
    PER_ACCOUNT,
    PER_ACCOUNT_AND_NETWORK,
    PER_DEVICE,
    PER_NETWORK,
    TOTAL_KEPT,
    WINDOW,
    count_try,
    network_of,
    wrong_passwords,
)
from sites.models import PasswordTries
from tests.world import PASSWORD

EMAIL = "mara.holt@example.test"
NEW = "brisk-orchard-52"


class Device:
    """Somebody's browser; `known` after it has signed in once."""

    def __init__(self, address="192.0.2.1"):
        self.client, self.address = Client(), address

    def sign_in(self, password, email=EMAIL, address=None, **headers):
        self.client.cookies.pop(django_settings.SESSION_COOKIE_NAME, None)
        where = {"REMOTE_ADDR": address or self.address, **headers}
        return self.client.post(reverse("sign_in"), {"username": email, "password": password}, **where)

    def gets_in(self, password=PASSWORD, **where):
        return self.sign_in(password, **where).status_code == 302

    def guess(self, times, email=EMAIL, address=None, **headers):
        """Wrong passwords, counted as the form counts them; `said_to` types one."""
        request = RequestFactory().post("/", REMOTE_ADDR=address or self.address, **headers)
        request.COOKIES = {name: kept.value for name, kept in self.client.cookies.items()}
        for _ in range(times):
            count(email, request)

    def said_to(self, guess, **where):
        return self.sign_in(guess, **where).content.decode()


@pytest.fixture
def stranger_device(world, clock):
    return Device()


@pytest.fixture
def own_device(world, clock):
    device = Device("203.0.113.1")
    assert device.gets_in()
    return device


def count(email, request):
    with suppress(ValidationError):
        count_try(request, email)


def besiege(email=EMAIL):
    """Guess from so many networks that what there is for an account is used up: one guess, and a row of all the others."""
    Device("198.51.100.1").guess(1, email=email)
    assert PasswordTries.objects.filter(place="", tries=1).update(tries=PER_ACCOUNT) == 1


def test_after_some_wrong_passwords_even_the_right_one_has_to_wait_as_long_as_is_said(stranger_device, clock):
    for number in range(PER_ACCOUNT_AND_NETWORK):
        assert "Too many" not in stranger_device.said_to(f"a wrong one {number}")
    clock.shift(timedelta(minutes=4))
    assert "Wait 11 minutes and try again, or ask" in stranger_device.sign_in(PASSWORD).content.decode()
    clock.shift(timedelta(minutes=11) - timedelta(seconds=1))
    assert "Wait 1 minute and" in stranger_device.sign_in(PASSWORD).content.decode()
    clock.shift(timedelta(seconds=1))
    assert stranger_device.gets_in()


def test_a_right_password_forgets_what_was_mistyped_before(stranger_device):
    for _ in range(3):
        stranger_device.guess(PER_ACCOUNT_AND_NETWORK - 1)
        stranger_device.client.cookies.pop(COOKIE, None)
        assert stranger_device.gets_in()


def test_trying_while_waiting_makes_the_wait_no_longer(stranger_device, clock):
    stranger_device.guess(PER_ACCOUNT_AND_NETWORK)
    clock.shift(WINDOW / 2)
    stranger_device.guess(10)
    clock.shift(WINDOW / 2)
    assert stranger_device.gets_in()


def test_others_at_that_address_and_the_same_person_elsewhere_get_in(stranger_device):
    stranger_device.guess(PER_ACCOUNT_AND_NETWORK, email=EMAIL.upper())
    assert not stranger_device.gets_in()
    assert Device().gets_in(email="sol.venn@example.test")
    assert Device("192.0.2.2").gets_in()


def test_an_email_that_nobody_has_is_answered_and_counted_the_same(stranger_device):
    said, rows = [], []
    for email in (EMAIL, "nobody@example.test"):
        device = Device("192.0.2.9")
        device.guess(PER_ACCOUNT_AND_NETWORK - 1, email=email)
        said += [device.said_to(guess, email=email).replace(email, "") for guess in ("a wrong one", "another")]
        rows.append(PasswordTries.objects.count())
    assert [without_token(page) for page in said[:2]] == [without_token(page) for page in said[2:]]
    assert rows == [4, 4 + 3]  # of the network there is one row already


def without_token(page):
    return [line for line in page.splitlines() if "csrfmiddlewaretoken" not in line and "X-CSRFToken" not in line]


def test_guessing_one_account_from_many_networks_is_slowed_where_it_is_not_known(stranger_device):
    for number in range(PER_ACCOUNT):
        Device(f"198.51.100.{number}").guess(1)
    assert "signed in with it" in stranger_device.sign_in(PASSWORD).content.decode()


def test_nobody_elsewhere_keeps_the_owner_out_of_a_device_that_is_known(own_device):
    besiege()
    assert own_device.gets_in()
    assert own_device.gets_in(address="192.0.2.77")  # a phone changes its network


def test_a_bad_neighbour_keeps_nobody_out_of_a_kitchens_known_devices(own_device):
    neighbour = Device(own_device.address)
    for number in (1, 2):
        neighbour.guess(1, email=f"person{number}@example.test")
    assert PasswordTries.objects.filter(account="", tries=2).update(tries=PER_NETWORK) == 1
    assert "on this network" in neighbour.sign_in(PASSWORD).content.decode()
    assert own_device.gets_in()


def test_a_known_device_has_some_tries_of_its_own_and_no_more(own_device, clock):
    own_device.guess(PER_DEVICE - 1)
    assert own_device.gets_in()
    own_device.guess(PER_DEVICE)
    assert not own_device.gets_in()
    clock.shift(WINDOW)
    assert own_device.gets_in()


def test_a_device_is_known_for_those_alone_who_signed_in_on_it(own_device):
    besiege("sol.venn@example.test")
    assert not own_device.gets_in(email="sol.venn@example.test")


def test_a_tablet_is_known_to_everybody_who_signs_in_on_it(own_device):
    assert own_device.gets_in(email="sol.venn@example.test")
    for email in (EMAIL, "sol.venn@example.test"):
        besiege(email)
        assert own_device.gets_in(email=email)


def test_a_device_is_known_no_longer_after_another_password(own_device, world):
    change_password(by=world.manager, password=NEW)
    besiege()
    assert not own_device.gets_in(NEW)


def test_a_device_is_known_no_longer_when_its_person_was_stopped(own_device, world):
    stop_person(by=world.supervisor, person=world.manager, reason="lost the phone")
    world.manager.is_active = True
    world.manager.save()
    besiege()
    assert not own_device.gets_in()


def test_a_mangled_cookie_makes_a_device_unknown_and_breaks_nothing(own_device):
    kept = own_device.client.cookies[COOKIE].value
    besiege()
    for mangled in (kept[:-2] + "xx", "x", ""):
        own_device.client.cookies[COOKIE] = mangled
        assert not own_device.gets_in()
    own_device.client.cookies[COOKIE] = kept
    assert own_device.gets_in()


@pytest.mark.parametrize("https", [True, False])
def test_no_script_reads_the_cookie_and_none_goes_out_in_the_clear(world, settings, https):
    settings.SESSION_COOKIE_SECURE = https
    device = Device()
    device.sign_in(PASSWORD)
    kept = device.client.cookies[COOKIE]
    assert kept["httponly"] and bool(kept["secure"]) == https and kept["samesite"] == "Lax"
    assert kept["max-age"] >= 300 * 24 * 3600


def test_an_ipv6_network_counts_as_one(stranger_device):
    for number in range(PER_ACCOUNT_AND_NETWORK):
        stranger_device.guess(1, address=f"2001:db8:1:2:{number}::{number}")
    assert not stranger_device.gets_in(address="2001:db8:1:2:ffff:1:2:3")
    assert stranger_device.gets_in(address="2001:db8:1:3::1")


def test_an_ipv4_address_written_as_ipv6_is_the_same_address(stranger_device):
    stranger_device.guess(PER_ACCOUNT_AND_NETWORK, address="::ffff:192.0.2.1")
    assert not stranger_device.gets_in()
    assert stranger_device.gets_in(address="::ffff:192.0.2.2")


@given(st.ip_addresses(v=6), st.integers(0, 2**64 - 1))
def test_the_last_half_of_an_ipv6_address_tells_nothing_apart(address, rest):
    other = type(address)(int(address) >> 64 << 64 | rest)
    if not address.ipv4_mapped and not other.ipv4_mapped:
        assert network_of(str(address)) == network_of(str(other)) != ""


@given(st.ip_addresses(v=4), st.ip_addresses(v=4))
def test_ipv4_addresses_are_told_apart(one, other):
    assert (network_of(str(one)) == network_of(str(other))) == (one == other)
    assert network_of(f"::ffff:{one}") == network_of(str(one))


def test_a_new_password_ends_the_wait(stranger_device, world):
    stranger_device.guess(PER_ACCOUNT_AND_NETWORK)
    change_password(by=world.manager, password=NEW)
    assert stranger_device.gets_in(NEW)


def test_behind_a_proxy_the_address_is_the_one_that_the_proxy_saw(stranger_device, settings):
    settings.BEHIND_HTTPS = True
    stranger_device.guess(PER_ACCOUNT_AND_NETWORK, HTTP_X_FORWARDED_FOR="203.0.113.9, 198.51.100.7")
    assert not stranger_device.gets_in(HTTP_X_FORWARDED_FOR="10.0.0.1, 198.51.100.7")
    assert stranger_device.gets_in(HTTP_X_FORWARDED_FOR="203.0.113.9, 198.51.100.8")


@pytest.mark.parametrize("behind", [True, False])
def test_nobody_chooses_an_address(stranger_device, settings, behind):
    settings.BEHIND_HTTPS = behind
    for number in range(PER_ACCOUNT_AND_NETWORK):
        said = f"nonsense-{number}" if behind else f"198.51.100.{number}"
        stranger_device.guess(1, HTTP_X_FORWARDED_FOR=said)
    assert not stranger_device.gets_in(HTTP_X_FORWARDED_FOR="more nonsense" if behind else "203.0.113.1")


def test_neither_email_nor_address_is_kept_and_old_tries_go(stranger_device, clock):
    stranger_device.guess(2)
    kept = str(list(PasswordTries.objects.values()))
    assert EMAIL not in kept and "192.0.2" not in kept
    clock.shift(TOTAL_KEPT)
    stranger_device.guess(1, email="sol.venn@example.test")
    assert PasswordTries.objects.count() == 4 and wrong_passwords(EMAIL) == 0


def test_a_try_is_counted_before_its_password_is_hashed(stranger_device, settings, monkeypatch):
    """Or many tries at one moment would all be looked at before the first of them is counted."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    counted = []

    def encode(self, password, salt, iterations=None):
        counted.append(PasswordTries.objects.filter(tries__gt=0).count())
        return "pbkdf2_sha256$1$x$y"

    monkeypatch.setattr(PBKDF2PasswordHasher, "encode", encode)
    stranger_device.sign_in("a wrong one", email="nobody@example.test")
    assert counted and min(counted) == 4


def test_an_empty_form_is_no_try(stranger_device):
    stranger_device.sign_in("")
    assert not PasswordTries.objects.exists()


def test_wrong_old_passwords_are_guesses_with_the_same_wait(own_device, world):
    new = {"new_password1": NEW, "new_password2": NEW}
    url = reverse("account_password")
    for number in range(PER_DEVICE):
        page = own_device.client.post(url, {"old_password": f"a wrong one {number}", **new})
    assert "entered incorrectly" in page.content.decode()
    page = own_device.client.post(url, {"old_password": PASSWORD, **new}).content.decode()
    assert "Too many wrong passwords" in page and "Wait 15 minutes" in page
    assert not own_device.gets_in()
    world.manager.refresh_from_db()
    assert world.manager.check_password(PASSWORD) and wrong_passwords(EMAIL) == PER_DEVICE


def test_after_a_change_of_the_password_the_device_stays_known(own_device):
    new = {"new_password1": NEW, "new_password2": NEW}
    own_device.client.post(reverse("account_password"), {"old_password": PASSWORD, **new})
    besiege()
    assert own_device.gets_in(NEW)
