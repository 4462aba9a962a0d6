"""What the pages say of a reading that was struck out, and what striking out asks for."""

import pytest
from django.urls import reverse

from compliance.readings.actions import void
from tests.readings.helpers import take

pytestmark = pytest.mark.usefixtures("clock")


def page_of(client, name, *args):
    return client.get(reverse(name, args=args))


def test_a_struck_out_reading_is_said_to_be_worth_nothing(world, as_person):
    reading = take(world)
    client = as_person(world.manager)
    assert "What it is worth" in page_of(client, "reading_detail", reading.pk).content.decode()
    void(by=world.manager, reading=reading, reason="measured by nobody")
    assert "What it is worth" not in page_of(client, "reading_detail", reading.pk).content.decode()
    table = page_of(client, "reading_list").content.decode().split("<tbody")[1]
    assert "Unproven" not in table


def test_an_error_does_not_put_a_colon_behind_a_question(world, as_person):
    reading = take(world)
    text = as_person(world.manager).post(reverse("reading_void", args=[reading.pk]), {"reason": ""}).content.decode()
    assert "Why does it not count? This field" in text
