"""Recording one reading: judged by the limit in force, a breach opens its deviation, and nothing is ever edited."""

import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from compliance.limits.models import Direction
from compliance.readings.actions import AlreadySent, void
from compliance.readings.models import Deviation, Reading, ReadingVoid
from shared.append_only import WrittenOnce
from shared.audit.models import Entry
from shared.units import Unit
from tests.readings.helpers import EARLIER, correct, take
from tests.world import make_limit, make_probe, make_version

pytestmark = pytest.mark.usefixtures("clock")


def fields_of(refused) -> set:
    return set(getattr(refused.value, "error_dict", {}))


def test_a_reading_at_the_limit_is_within_it(world):
    assert not hasattr(take(world, typed="5.0"), "deviation")


def test_a_reading_beyond_the_limit_opens_a_deviation_in_words(world):
    reading = take(world, typed="5.1")
    assert reading.deviation.why == "5.1 °C is above the limit of at most 5 °C"
    assert reading.deviation.recorded_by == world.cook


def test_a_breach_too_small_for_one_digit_is_told_with_more(world):
    assert take(world, typed="5.04").deviation.why.startswith("5.04 °C is above")


# US Food Code 2022, 3-501.16: 41 °F, printed beside it as 5 °C; 3-401.11(A)(3): 165 °F, printed as 74 °C.
@pytest.mark.parametrize(
    ("direction", "value", "typed", "unit", "held"),
    [
        ("at_most", "41", "41", "F", True),
        ("at_most", "41", "41.1", "F", False),
        ("at_most", "41", "5.0", "C", True),  # 41 °F is 5 °C exactly
        ("at_least", "165", "165", "F", True),
        ("at_least", "165", "164.9", "F", False),
        ("at_least", "165", "73.9", "C", True),  # 165 °F is 73.889 °C
        ("at_least", "165", "73.8", "C", False),
    ],
)
def test_a_limit_in_fahrenheit_is_exact_for_both_displays(world, direction, value, typed, unit, held):
    limit = make_limit(world.site, by=world.manager, code="own", direction=direction, value=value, unit=Unit.FAHRENHEIT)
    reading = take(world, limit=limit, typed=typed, unit=unit)
    assert hasattr(reading, "deviation") is not held
    assert (reading.typed, reading.unit) == (typed, unit)


def test_a_hold_time_that_is_too_short_is_a_deviation(world):
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    assert (
        take(world, limit=cook, typed="70", hold_s=119).deviation.why == "held for 1 min 59 s, the limit asks for 2 min"
    )
    assert not hasattr(take(world, limit=cook, typed="71", hold_s=120), "deviation")
    assert not hasattr(take(world, limit=cook, typed="71"), "deviation")


@pytest.mark.parametrize(
    "typed, hold_s, equivalent",
    [("76.1", 30, True), ("76.0", 30, False), ("66.7", 600, True), ("66.6", 600, False), ("80", 0, False)],
)
def test_a_pair_that_makes_up_for_its_limit_is_called_equivalent_and_stays_a_deviation(
    typed, hold_s, equivalent, world, as_person
):
    """70 °C for 2 min. The table of the Food Standards Agency is met: 75 °C for 30 s and 65 °C for 10 min ask for less."""
    cook = make_limit(world.site, by=world.manager, code="cook", direction=Direction.AT_LEAST, value="70", hold_s=120)
    reading = take(world, limit=cook, typed=typed, hold_s=hold_s)
    assert ("equivalent to 70 °C for 2 min" in reading.deviation.why) is equivalent
    client = as_person(world.manager)
    assert (
        "is equivalent to" in client.get(reverse("reading_detail", args=[reading.pk])).content.decode()
    ) is equivalent
    shown = client.get(reverse("deviation_detail", args=[reading.deviation.pk])).content.decode()
    assert ("Not as the limit is written, but equivalent" in shown) is equivalent
    assert ("The limit is not met" in shown) is not equivalent


def test_the_version_in_force_at_its_time_judges_a_reading(world):
    make_version(world.limit, by=world.manager, value="3", effective_from=EARLIER)
    assert hasattr(take(world, typed="4.0", taken_at=EARLIER), "deviation")
    assert not hasattr(take(world, typed="4.0", taken_at=EARLIER - timedelta(seconds=1)), "deviation")


def test_a_limit_that_was_not_in_force_is_refused(world):
    make_version(world.limit, by=world.manager, effective_from=EARLIER, in_force=False)
    with pytest.raises(ValidationError) as refused:
        take(world)
    assert fields_of(refused) == {"limit"} and not Reading.objects.exists()


def test_sending_it_twice_records_it_once(world):
    key = uuid.uuid4()
    assert take(world, key=key, typed="6") == take(world, key=key, typed="6")
    assert (Reading.objects.count(), Deviation.objects.count()) == (1, 1)
    assert Entry.objects.filter(action="reading.record").count() == 1


def test_a_key_that_was_used_for_another_reading_loses_nothing_silently(world):
    key = uuid.uuid4()
    take(world, key=key)
    with pytest.raises(AlreadySent, match="already sent"):
        take(world, key=key, typed="4.1")


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"typed": "warm"}, "typed"),
        ({"typed": "-274"}, "typed"),
        ({"typed": ""}, "typed"),
        ({"item": "  "}, "item"),
        ({"hold_s": -1}, "hold_s"),
        ({"taken_at": EARLIER + timedelta(hours=4)}, "taken_at"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(world, facts, field):
    with pytest.raises(ValidationError) as refused:
        take(world, **facts)
    assert fields_of(refused) == {field} and not Reading.objects.exists()


def test_probe_and_limit_belong_to_the_site(world):
    elsewhere = make_limit(world.other_site, by=world.manager)
    foreign = make_probe(world.foreign_site, "P1", by=world.stranger)
    for facts, field in (({"limit": elsewhere}, "limit"), ({"probe": foreign}, "probe")):
        with pytest.raises(ValidationError) as refused:
            take(world, **facts)
        assert fields_of(refused) == {field}


def test_a_correction_strikes_the_old_entry_out_and_keeps_it(world):
    old = take(world, typed="4.6")
    new = correct(
        by=world.cook,
        reading=old,
        reason="the display showed 6.4",
        key=uuid.uuid4(),
        probe=old.probe,
        site=old.site,
        limit=world.limit,
        item="milk",
        typed="6.4",
        unit="C",
        taken_at=old.taken_at,
    )
    assert (old.void.replacement, old.void.reason) == (new, "the display showed 6.4")
    assert Reading.objects.get(pk=old.pk).typed == "4.6"
    assert new.deviation.why.startswith("6.4 °C") and new.taken_by == old.taken_by
    assert set(Entry.objects.exclude(action="reading.record").values_list("action", "subject_id")) == {
        ("reading.correct", new.pk),
        ("reading.replaced", old.pk),
    }


def test_a_correction_that_changes_nothing_or_says_no_reason_is_refused(world):
    old = take(world)
    same = {
        "probe": old.probe,
        "site": old.site,
        "limit": world.limit,
        "item": "milk",
        "typed": "4.0",
        "unit": "C",
        "taken_at": old.taken_at,
    }
    with pytest.raises(ValidationError, match="Nothing differs"):
        correct(by=world.cook, reading=old, reason="mistyped", key=uuid.uuid4(), **same)
    with pytest.raises(ValidationError, match="Say why"):
        correct(by=world.cook, reading=old, reason=" ", key=uuid.uuid4(), **same | {"typed": "4.1"})


def test_a_void_reading_is_not_struck_out_or_corrected_again(world):
    old = take(world)
    void(by=world.manager, reading=old, reason="measured by nobody")
    with pytest.raises(ValidationError, match="void already"):
        void(by=world.manager, reading=old, reason="again")
    assert ReadingVoid.objects.count() == 1


def test_facts_are_never_edited_or_deleted(world):
    reading = take(world)
    reading.item = "cream"
    for act in (reading.save, reading.delete, Reading.objects.all().delete, lambda: Reading.objects.update(item="x")):
        with pytest.raises(WrittenOnce):
            act()
