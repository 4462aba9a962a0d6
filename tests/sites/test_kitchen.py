"""A phone or tablet that stays in a kitchen: registered by its manager, worked on by whoever has a PIN, for that kitchen only."""

from datetime import timedelta

import pytest
from django.contrib.auth.hashers import check_password
from django.core.exceptions import ValidationError
from django.http import Http404
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from compliance.readings.models import Reading
from shared.audit.models import Entry
from sites import kitchen
from sites.access import areas_of, get_area, role_at, roles_at, sites_of
from sites.actions import grant, stop_person
from sites.kitchen_actions import register_device, revoke_device, set_pin
from sites.models import KitchenDevice, KitchenPin, PasswordTries, Role
from tests.records.making import take
from tests.remembered import remembered
from tests.world import PASSWORD

PIN = "8305"


@pytest.fixture(autouse=True)
def quick_hashes(settings, clock):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def tablet(world) -> Client:
    """A browser that holds the secret of a device of the site; the cook and the manager have PINs."""
    client = Client()
    client.cookies[kitchen.COOKIE] = remembered(registered, world)
    return client


def registered(world) -> str:
    """The secret of the device."""
    for person in (world.cook, world.manager, world.supervisor):
        set_pin(by=person, pin=PIN)
    return register_device(by=world.manager, site=world.site, name="Tablet at the pass")[1]


def enter(client, person, pin=PIN):
    return client.post(reverse("kitchen"), {"person": person.pk, "pin": pin})


def test_the_name_tapped_with_its_pin_opens_today_at_that_kitchen(tablet, world):
    assert reverse("kitchen") in tablet.get(reverse("sign_in")).headers["Location"]
    assert world.cook.name in tablet.get(reverse("kitchen")).content.decode()
    answer = enter(tablet, world.cook)
    assert answer.headers["Location"] == reverse("today_site", args=[world.site.pk])
    page = tablet.get(answer.headers["Location"]).content.decode()
    assert "Switch" in page and world.cook.name in page


def test_who_switches_leaves_nothing_of_the_one_before(tablet, world):
    enter(tablet, world.manager)
    enter(tablet, world.cook)
    assert int(tablet.session["_auth_user_id"]) == world.cook.pk


def test_what_is_recorded_with_a_pin_names_the_device_in_the_trail(tablet, world):
    enter(tablet, world.cook)
    form = tablet.get(reverse("reading_add"), {"site": world.site.pk}).context["form"]
    sent = {"key": form["key"].value(), "unit": "C", "probe": world.probe.pk, "limit": world.limit.pk}
    sent |= {
        "item": "Soup",
        "typed": "4.1",
        "taken_by": world.cook.pk,
        "all_the_same": "on",
        "used_despite": "No other.",
    }
    tablet.post(reverse("reading_add") + f"?site={world.site.pk}", sent | {"used_despite": "No other probe was here."})
    entry = Entry.objects.get(action="reading.record")
    assert entry.actor_id == world.cook.pk and entry.data["device"].startswith("Tablet at the pass (device ")
    page = tablet.get(reverse("reading_detail", args=[Reading.objects.get().pk])).content.decode()
    assert "on Tablet at the pass" in page


def test_a_pin_sets_nothing_up_whoever_has_it(tablet, world):
    enter(tablet, world.supervisor)
    addresses = [
        reverse(name, args=[world.site.pk]) for name in ("site_devices", "site_edit", "plan_site", "limit_add")
    ]
    open_to_it = [a for a in (*addresses, reverse("probe_add")) if tablet.get(a).status_code not in (403, 404)]
    assert open_to_it == []


def test_a_pin_opens_no_page_about_the_person(tablet, world):
    enter(tablet, world.manager)
    for name in ("account", "account_password", "account_pin", "notice_list", "reading_import"):
        answer = tablet.get(reverse(name))
        assert answer.status_code == 403 and "?password" in answer.content.decode(), name


def test_a_pin_has_a_cooks_rights_at_one_site_and_none_elsewhere(world):
    person = world.supervisor
    grant(by=None, person=person, role=Role.SUPERVISOR, area=world.area)
    person.kitchen = world.site.pk
    assert role_at(person, world.site) == Role.COOK and role_at(person, world.other_site) is None
    assert roles_at(person, [world.site, world.other_site]) == {world.site.pk: Role.COOK}
    assert list(sites_of(person)) == [world.site] and not sites_of(person, Role.MANAGER) and not areas_of(person)
    with pytest.raises(Http404):
        get_area(person, world.area.pk)


def test_a_manager_writes_down_with_a_pin_what_was_done_and_a_cook_does_not(tablet, world):
    breach = take(world, "9.0", timezone.now(), used_despite="No other probe was here.").deviation
    page, told = reverse("deviation_detail", args=[breach.pk]), {"disposition": "discarded", "action": "Thrown away."}
    for person, answers in ((world.cook, {403}), (world.manager, {302})):
        enter(tablet, person)
        told |= {"cause": "Not known yet.", "done_at": "2026-03-11T12:00", "decided_by": world.manager.pk}
        assert tablet.post(page, told).status_code in answers
    assert Entry.objects.get(action="deviation.act").data["device"].startswith("Tablet at the pass")
    assert (
        tablet.post(reverse("reading_void", args=[breach.reading_id]), {"reason": "Entered twice"}).status_code == 403
    )


def test_the_password_opens_the_rest_also_from_within(tablet, world):
    enter(tablet, world.manager)
    tablet.post(reverse("sign_in") + "?password", {"username": world.manager.email, "password": PASSWORD})
    assert kitchen.DEVICE not in tablet.session
    assert tablet.get(reverse("site_devices", args=[world.site.pk])).status_code == 200


def test_it_ends_when_nobody_has_tapped_for_a_while(tablet, world):
    enter(tablet, world.cook)
    assert tablet.session.get_expiry_age() == kitchen.IDLE.total_seconds()
    tablet.session.model.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    assert reverse("sign_in") in tablet.get(reverse("today")).headers["Location"]


def test_a_lost_device_opens_nothing_and_what_was_open_on_it_ends(tablet, world):
    enter(tablet, world.cook)
    revoke_device(by=world.manager, device=KitchenDevice.objects.get())
    assert reverse("sign_in") in tablet.get(reverse("today")).headers["Location"]
    assert tablet.get(reverse("kitchen")).headers["Location"] == reverse("sign_in")
    assert enter(tablet, world.cook).headers["Location"] == reverse("sign_in")


@pytest.mark.parametrize("secret", ["", "made-up", "x" * 5000])
def test_a_device_that_nobody_registered_opens_nothing(tablet, world, secret):
    tablet.cookies[kitchen.COOKIE] = secret
    assert enter(tablet, world.cook).headers["Location"] == reverse("sign_in")
    assert "_auth_user_id" not in tablet.session


def test_somebody_of_another_site_is_not_offered_and_gets_in_nowhere(tablet, world):
    set_pin(by=world.stranger, pin=PIN)
    assert world.stranger.name not in tablet.get(reverse("kitchen")).content.decode()
    assert enter(tablet, world.stranger).status_code == 422 and "_auth_user_id" not in tablet.session


def test_a_reader_writes_nothing_and_so_needs_no_pin(tablet, world):
    set_pin(by=world.reader, pin=PIN)
    assert enter(tablet, world.reader).status_code == 422


def test_who_was_stopped_is_out_at_once_and_so_is_the_pin(tablet, world):
    enter(tablet, world.cook)
    stop_person(by=world.supervisor, person=world.cook, reason="Moved away.")
    assert reverse("sign_in") in tablet.get(reverse("today")).headers["Location"]
    world.cook.is_active = True
    world.cook.save(update_fields=["is_active"])
    assert enter(tablet, world.cook).status_code == 422


def test_wrong_pins_are_limited_on_a_device(tablet, world):
    for _ in range(kitchen.PER_PERSON):
        assert "not the PIN of" in enter(tablet, world.cook, "1111").content.decode()
    assert "Too many wrong PINs" in enter(tablet, world.cook).content.decode()
    assert "_auth_user_id" not in tablet.session
    assert enter(tablet, world.manager).status_code == 302


def test_after_many_wrong_ones_a_pin_holds_no_longer_until_another_is_chosen(tablet, world):
    enter(tablet, world.cook, "1111")
    assert KitchenPin.objects.filter(person=world.cook, wrong=1).update(wrong=kitchen.MOST_WRONG - 1) == 1
    assert world.cook.name in tablet.get(reverse("kitchen")).content.decode()
    enter(tablet, world.cook, "1111")
    PasswordTries.objects.all().delete()  # as if they were typed a while after each other
    assert world.cook.name not in tablet.get(reverse("kitchen")).content.decode()
    assert enter(tablet, world.cook).status_code == 422
    set_pin(by=world.cook, pin="5062")
    assert enter(tablet, world.cook, "5062").status_code == 302


def test_a_right_one_forgets_the_wrong_ones_before(tablet, world):
    for _ in range(kitchen.PER_PERSON - 1):
        enter(tablet, world.cook, "1111")
    enter(tablet, world.cook)
    assert KitchenPin.objects.get(person=world.cook).wrong == 0
    assert "not the PIN of" in enter(tablet, world.cook, "1111").content.decode()


@pytest.mark.parametrize("pin", ["", "123", "1234", "9876", "0000", "55555555", "12a4", "123456789", "١٢٥٩"])
def test_an_easy_pin_is_refused(world, pin):
    with pytest.raises(ValidationError):
        set_pin(by=world.cook, pin=pin)


def test_a_pin_is_kept_hashed_and_chosen_with_the_password(as_person, world):
    client, sent = as_person(world.cook), {"pin": PIN, "again": PIN}
    assert "This is not your password" in client.post(reverse("account_pin"), sent | {"password": "x"}).content.decode()
    assert not KitchenPin.objects.exists()
    client.post(reverse("account_pin"), sent | {"password": PASSWORD})
    kept = KitchenPin.objects.get()
    assert PIN not in kept.pin and check_password(PIN, kept.pin)
    assert Entry.objects.filter(action="person.pin", actor_id=world.cook.pk).exists()


def test_a_manager_registers_the_device_in_the_hand_and_its_secret_is_kept_nowhere(as_person, world):
    client = as_person(world.manager)
    client.post(reverse("site_devices", args=[world.site.pk]), {"name": "Phone", "after": 0})
    device, cookie = KitchenDevice.objects.get(), client.cookies[kitchen.COOKIE]
    assert device.digest == kitchen.digest_of(cookie.value) != cookie.value and cookie["httponly"]
    again = client.post(reverse("site_devices", args=[world.site.pk]), {"name": "Phone again", "after": device.pk})
    assert "registered already" in again.content.decode() and KitchenDevice.objects.count() == 1


def test_a_cook_registers_and_revokes_none(as_person, world, tablet):
    client = as_person(world.cook)
    assert client.post(reverse("site_devices", args=[world.site.pk]), {"name": "Mine"}).status_code == 403
    assert client.post(reverse("device_revoke", args=[KitchenDevice.objects.get().pk])).status_code == 403
