"""Sign-ins are recorded, and shown to the person and to their supervisor."""

import pytest
from django.test import Client
from django.urls import reverse

from shared.audit.models import Entry
from tests.world import PASSWORD, make_person

EMAIL = "col.esker@example.test"


def sign_in(client, password=PASSWORD, address="192.0.2.44"):
    return client.post(reverse("sign_in"), {"username": EMAIL, "password": password}, REMOTE_ADDR=address)


@pytest.fixture
def device(world, clock):
    """A browser that the cook signs in on twice, with three wrong passwords typed elsewhere between."""
    client = Client()
    sign_in(client)
    for _ in range(3):
        sign_in(Client(), "a wrong one", "198.51.100.1")
    client.post(reverse("sign_out"))
    sign_in(client)
    return client


def test_each_sign_in_is_recorded_with_what_went_before(device, world):
    entries = Entry.objects.filter(action="person.sign_in").order_by("pk")
    assert [(e.actor, e.subject, e.subject_id) for e in entries] == [("Col Esker", "Col Esker", world.cook.pk)] * 2
    assert [entry.data for entry in entries] == [
        {"address": "192.0.2.44", "known_device": False, "wrong_before": 0},
        {"address": "192.0.2.44", "known_device": True, "wrong_before": 3},
    ]


def test_a_wrong_password_is_no_sign_in(world):
    sign_in(Client(), "a wrong one")
    assert not Entry.objects.filter(action="person.sign_in").exists()


def shown(page):
    return " ".join(page.content.decode().split())


def test_the_person_sees_their_last_sign_ins_and_what_was_tried_since(device):
    sign_in(Client(), "a wrong one", "198.51.100.1")
    words = shown(device.get(reverse("account")))
    assert (
        "11 Mar 2026 12:00 GMT" in words
        and "From 192.0.2.44, on a device known before, after 3 wrong passwords" in words
    )
    assert "From 192.0.2.44, on a new device" in words
    assert "Since the last one, 1 wrong password was typed for col.esker@example.test" in words


def test_the_supervisor_sees_those_of_the_people_who_work_for_them_alone(device, world, as_person):
    url = reverse("person_edit", args=[world.cook.pk])
    assert "From 192.0.2.44, on a new device" in shown(as_person(world.supervisor).get(url))
    world.cook.memberships.create(role=20, site=world.far_site)
    assert "192.0.2.44" not in shown(as_person(world.supervisor).get(url))


def test_the_last_ten_are_shown(device):
    for _ in range(12):
        sign_in(device)
        device.post(reverse("sign_out"))
    sign_in(device)
    page = shown(device.get(reverse("account")))
    assert page.count("on a device known before") + page.count("on a new device") == 10


def test_nobody_elses_sign_ins_are_shown(device, world, as_person):
    other = make_person("Ada Brook", 20, site=world.site)
    assert "192.0.2.44" not in shown(as_person(other).get(reverse("account")))
