"""A lease has one holder, by the database's clock, and a clock set back jams nothing."""

from datetime import timedelta

import pytest
from django.db.models.functions import Now

from compliance.reminders import leases
from compliance.reminders.models import Lease

pytestmark = pytest.mark.django_db


def take(holder, seconds=60):
    return leases.take("work", holder=holder, seconds=seconds)


def hold(holder, seconds=60):
    return leases.hold("work", holder=holder, seconds=seconds)


def shift(**by):
    """As if so much time had passed since it was granted; negative, as if the clock had been set back."""
    change = timedelta(**by)
    Lease.objects.update(until=Lease.objects.get().until - change, granted_at=Lease.objects.get().granted_at - change)


def test_the_first_who_asks_gets_it_and_may_ask_again():
    assert take("one") and take("one")
    assert not take("two")


def test_it_can_be_held_only_by_its_holder():
    take("one")
    assert hold("one") and not hold("two")
    assert Lease.objects.get().holder == "one"


def test_nothing_can_be_held_that_was_not_taken():
    assert not hold("one")
    assert not Lease.objects.exists()


def test_who_is_over_time_keeps_it_until_another_takes_it():
    take("one")
    shift(seconds=61)
    assert hold("one")
    shift(seconds=61)
    assert take("two")
    assert not hold("one")


def test_a_minute_is_a_minute():
    take("one")
    shift(seconds=58)
    assert not take("two")
    shift(seconds=2)
    assert take("two")


def test_what_is_given_back_can_be_taken_at_once():
    take("one")
    leases.release("work", holder="two")
    assert not take("two")
    leases.release("work", holder="one")
    assert take("two")


def test_after_an_hour_set_back_it_can_be_taken_and_its_holder_notices():
    take("one")
    shift(hours=-1)
    assert take("two")
    assert not hold("one")


def test_after_an_hour_set_back_a_living_holder_goes_on():
    take("one")
    shift(hours=-1)
    assert hold("one")
    assert not take("two")


def test_it_lasts_as_long_as_was_asked_by_the_clock_of_the_database():
    take("one", seconds=90)
    lease = Lease.objects.get()
    assert (lease.until - lease.granted_at).total_seconds() == pytest.approx(90, abs=0.01)
    assert Lease.objects.filter(granted_at__lte=Now()).exists()


@pytest.mark.parametrize("act, most", [(take, 1), (hold, 1)])
def test_asking_again_is_one_statement(act, most, django_assert_num_queries):
    take("one")
    with django_assert_num_queries(most):
        act("one")
