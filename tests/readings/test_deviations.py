"""A deviation stays open until somebody says what was done, why it happened and what became of the food."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError

from compliance.readings.actions import void
from compliance.readings.models import CorrectiveAction
from compliance.readings.queries import open_deviations
from tests.readings.helpers import EARLIER, act_on_deviation, take

pytestmark = pytest.mark.usefixtures("clock")
DONE = {
    "action": "Moved it",
    "cause": "Door left open",
    "disposition": "moved",
    "done_at": EARLIER + timedelta(hours=1),
}


def act(world, deviation, **facts):
    return act_on_deviation(by=world.manager, deviation=deviation, **(DONE | facts))


def test_it_is_open_until_it_is_acted_on(world):
    deviation = take(world, typed="9").deviation
    assert list(open_deviations([world.site])) == [deviation]
    act(world, deviation)
    assert not open_deviations([world.site]).exists()


def test_food_that_is_held_apart_keeps_it_open(world):
    deviation = take(world, typed="9").deviation
    held = act(world, deviation, disposition="held")
    assert open_deviations([world.site]).exists()
    last = act(world, deviation, disposition="discarded")
    assert last.replaces == held and not open_deviations([world.site]).exists()


def test_a_void_reading_has_nothing_open_and_nothing_to_act_on(world):
    reading = take(world, typed="9")
    void(by=world.manager, reading=reading, reason="typing error")
    assert not open_deviations([world.site]).exists()
    with pytest.raises(ValidationError, match="void"):
        act(world, reading.deviation)


def test_sending_it_twice_records_it_once(world):
    deviation = take(world, typed="9").deviation
    assert act(world, deviation) == act(world, deviation)
    assert CorrectiveAction.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"action": " "}, "action"),
        ({"cause": ""}, "cause"),
        ({"disposition": "lost"}, "disposition"),
        ({"disposition": "eaten"}, "note"),
        ({"done_at": EARLIER - timedelta(hours=1)}, "done_at"),
        ({"done_at": EARLIER + timedelta(days=1)}, "done_at"),
    ],
)
def test_what_is_missing_or_cannot_be_is_refused(world, facts, field):
    deviation = take(world, typed="9").deviation
    with pytest.raises(ValidationError) as refused:
        act(world, deviation, **facts)
    assert set(refused.value.error_dict) == {field} and not CorrectiveAction.objects.exists()
