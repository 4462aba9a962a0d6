"""What the advice rests on is what is stored: live, conclusive checks at zero, trials, readings a day."""

from datetime import timedelta

import pytest
from django.utils import timezone

from compliance.advice.probe_history import Tried, tried
from compliance.advice.queries import IN_USE, SEEN, outlooks_of, pasts_of, probes_by_need, reading_rates, tried_by_kind
from compliance.checks import actions as checks
from compliance.checks.models import CheckKind, Stage, Verdict
from compliance.probes.models import EventKind, Probe, Sensor
from compliance.readings import actions as readings
from compliance.readings.models import Reading
from tests.advice.making import found, history, rising
from tests.checks import making
from tests.world import make_probe, make_reading


def ago(days):
    return timezone.now() - timedelta(days=days)


def past(probe):
    return pasts_of([probe], timezone.now())[0]


def test_a_history_holds_errors_and_standard_uncertainties(world):
    history(world.probe, world.cook, [100, 200], expanded=250, factor=2.5)
    seen = past(world.probe).seen
    assert [(s.error_milli, s.standard_milli, s.passed) for s in seen] == [(100, 100.0, True), (200, 100.0, True)]
    assert seen[1].at - seen[0].at == timedelta(days=7)


def test_what_says_nothing_of_drift_at_zero_is_left_out(world):
    made = history(world.probe, world.cook, [100, 110, 120])
    checks.void_check(by=world.supervisor, check=made[1], reason="Another probe.")
    found(world.probe, world.cook, ago(3), 90, verdict=Verdict.INCONCLUSIVE)
    found(world.probe, world.cook, ago(3), 90, kind=CheckKind.CERTIFICATE)
    found(world.probe, world.cook, timezone.now() - SEEN - timedelta(days=1), 90)
    found(make_probe(world.site, "P2", by=world.manager), world.cook, ago(3), 90)
    assert [s.error_milli for s in past(world.probe).seen] == [100, 120]


def test_a_trial_is_an_interval_that_began_with_a_good_check(world):
    history(world.probe, world.cook, [100, 150, 1500, 1400, 200, 220], every=5)
    assert tried(past(world.probe)) == [Tried(5.0, 3, 1)]


def test_an_adjustment_between_makes_no_trial_of_the_interval(world):
    history(world.probe, world.cook, [100, 150, 150], every=5)
    making.event(world.probe, world.cook, EventKind.ADJUSTED, ago(3))
    assert tried(past(world.probe)) == [Tried(5.0, 1, 0)]
    making.event(world.probe, world.cook, EventKind.DROPPED, ago(8))
    assert tried(past(world.probe)) == [Tried(5.0, 1, 0)]


def test_a_check_as_left_begins_a_trial_and_ends_none(world):
    found(world.probe, world.cook, ago(21), 100)
    found(world.probe, world.cook, ago(14), 1300)
    found(world.probe, world.cook, ago(14) + timedelta(minutes=30), 20, stage=Stage.AS_LEFT)
    found(world.probe, world.cook, ago(4), 60)
    assert tried(past(world.probe)) == [Tried(7.0, 1, 1), Tried(10.0, 1, 0)]


def test_the_database_counts_the_trials_of_a_kind_as_python_does(world):
    other = make_probe(world.other_site, "P2", by=world.manager)
    history(world.probe, world.cook, [100, 150, 1500, 1400, 200, 220, 300], every=5)
    made = history(other, world.cook, rising(8), every=2.3)
    making.event(other, world.cook, EventKind.REPAIRED, made[3].checked_at + timedelta(hours=1))
    struck = making.event(other, world.cook, EventKind.ADJUSTED, made[5].checked_at + timedelta(hours=1))
    checks.void_event(by=world.supervisor, event=struck, reason="Another probe.")
    found(other, world.cook, made[6].checked_at + timedelta(hours=3), 90, verdict=Verdict.INCONCLUSIVE)
    counted = tried_by_kind([world.probe], timezone.now())[world.business.pk, Sensor.THERMISTOR]
    assert counted == {p.pk: tried(past(p)) for p in (world.probe, other)}
    assert sum(t.checks for t in counted[other.pk]) == 6


def test_other_sensors_and_other_businesses_are_another_kind(world):
    for probe in (
        make_probe(world.site, "K1", by=world.manager, sensor=Sensor.THERMOCOUPLE_K_1),
        make_probe(world.foreign_site, "P1", by=world.stranger),
    ):
        history(probe, world.cook, [100, 1400])
    assert tried_by_kind([world.probe], timezone.now()) == {}
    assert tried_by_kind([], timezone.now()) == {}


def test_of_very_many_of_a_kind_those_in_use_and_longest_in_the_book_are_asked(world, monkeypatch):
    monkeypatch.setattr("compliance.advice.queries.MOST_ALIKE", 1)
    gone, old, new = (make_probe(world.site, code, by=world.manager) for code in ("P7", "P8", "P9"))
    for probe in (gone, old, new):
        history(probe, world.cook, [100, 200, 150])
    world.probe.withdrawn = gone.withdrawn = True
    Probe.objects.bulk_update([world.probe, gone], ["withdrawn"])
    assert set(tried_by_kind([new], timezone.now())[world.business.pk, Sensor.THERMISTOR]) == {old.pk, new.pk}
    assert [len(outlook.alike) for outlook in outlooks_of([old, new], timezone.now())] == [1, 1]


def test_the_pace_of_readings_is_of_the_last_days_in_use(world):
    last = timezone.now() - timedelta(days=90)  # not used since
    for number in range(41):
        make_reading(world.probe, world.limit, "4.0", last - timedelta(days=number / 2), by=world.cook)
    make_reading(world.probe, world.limit, "4.0", last - IN_USE - timedelta(days=1), by=world.cook)
    readings.void(by=world.manager, reading=Reading.objects.order_by("-taken_at")[3], reason="Twice.")
    assert reading_rates([world.probe.pk]) == {world.probe.pk: pytest.approx(40 / 20)}


def test_a_probe_without_readings_has_no_pace(world):
    assert reading_rates([world.probe.pk]) == {}
    make_reading(world.probe, world.limit, "4.0", ago(1), by=world.cook)
    assert reading_rates([world.probe.pk]) == {world.probe.pk: 1.0}


@pytest.mark.parametrize("probes, count", [(1, 3), (1, 30), (3, 3)])
def test_five_queries_whatever_the_history(world, django_assert_num_queries, probes, count):
    chosen = [make_probe(world.site, f"Q{n}", by=world.manager) for n in range(probes)]
    for probe in chosen:
        history(probe, world.cook, rising(count))
        make_reading(probe, world.limit, "4.0", ago(1), by=world.cook)
    with django_assert_num_queries(5):
        pasts_of(chosen, timezone.now())


def test_the_probes_that_used_most_of_their_tolerance_come_first(world):
    near, bad = (make_probe(world.site, code, by=world.manager) for code in ("Q1", "Q2"))
    never = make_probe(world.other_site, "Q3", by=world.manager)
    away = make_probe(world.foreign_site, "Q4", by=world.stranger)
    resting = make_probe(world.site, "Q5", by=world.manager)
    Probe.objects.filter(pk=resting.pk).update(withdrawn=True)
    for probe, milli in ((world.probe, 100), (near, -700), (bad, 1600), (away, 100), (resting, 100)):
        history(probe, world.cook, [milli])
    Probe.objects.filter(pk=resting.pk).update(withdrawn=True)
    told = [(p.code, p.used) for p in probes_by_need(world.supervisor)]
    assert told == [("Q2", 1800), ("Q1", 900), ("P1", 300), ("Q3", -1)]
    assert never in probes_by_need(world.supervisor)
    assert never not in probes_by_need(world.manager)
