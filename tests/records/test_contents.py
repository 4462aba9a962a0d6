"""The text of a printed record against what is stored: everything of the period, once, and nothing from outside it."""

import re
from collections import Counter
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from compliance.checks.kinds import USUAL
from compliance.checks.models import Check, Span
from compliance.checks.queries import bracket_of
from compliance.metrology.assessment import bounds, true_range
from compliance.quarantine.models import Decision
from compliance.readings import actions as readings
from compliance.readings.data import ActData
from compliance.readings.models import Deviation, Reading
from compliance.records.check_history import late
from compliance.records.sections import cases, failures, probes, summary, title
from compliance.records.sections import readings as readings_section
from shared.units import number
from sites.models import Site
from tests.checks import making as checks
from tests.plans.making import days_of
from tests.records import making
from tests.records.making import at, record_of, scope_of, section, section_of, sections_of, take
from tests.remembered import remembered
from tests.world import make_probe, make_version

NBSP = "\N{NO-BREAK SPACE}"


@pytest.fixture
def march(clock, world):
    """What happened, and the text of its record; the time is that of `making.story`."""
    clock.move_to(making.NOW)
    return remembered(making.march, world)


@pytest.fixture
def story(march):
    return march[0]


@pytest.fixture
def record(march):
    return march[1]


def rows(text: str, letter: str) -> Counter:
    """Numbers of entries that begin a row: each follows its time."""
    return Counter(int(n) for n in re.findall(rf"\d\d:\d\d(?: [A-Z]{{3}})? {letter}(\d+) ", text))


def test_every_reading_of_the_period_stands_there_once(record, site):
    stored = Reading.objects.filter(site=site).values_list("pk", flat=True)
    assert rows(section(record, "Readings"), "R") == Counter(stored)


def test_every_check_of_the_period_stands_there_once(record, story):
    within = Check.objects.exclude(pk=story["before"].pk).values_list("pk", flat=True)
    assert rows(section(record, "Probes and their checks"), "C") == Counter(within)


def test_every_decision_stands_over_its_readings_once(record):
    cases = section(record, "Cases of quarantine and decisions")
    decided = Counter(Decision.objects.values_list("reading", flat=True))
    assert rows(cases, "R") == decided
    assert max(decided.values()) == 2  # one was replaced: both stand there
    assert cases.count("Decided by") == 3
    assert "Why: Binned 4 kg of soup." in cases
    assert "Risk: Low: cold chain held. Told: Nobody needed." in cases


def test_a_check_outside_the_period_has_no_row_and_is_named_as_the_one_before(record, story):
    checked = section(record, "Probes and their checks")
    assert f"Last check before C{story['before'].pk}, 27 Feb 2026 09:00 GMT: in tolerance, error +0.10" in checked
    assert f"C{story['before'].pk} found" not in checked


def test_each_reading_shows_what_was_typed_its_limit_and_its_standing(record, story):
    lines = section(record, "Readings")
    assert f"R{story['proven'].pk} Rice Hot holding: ≥ 63 °C 71.2 °C P2 CE Proven" in lines
    assert f"R{story['doubted'][0].pk} Soup Cold holding: ≤ 5 °C 3.1 °C P1 CE Quarantined" in lines
    assert f"R{story['fahrenheit'].pk} Milk Cold holding: ≤ 5 °C 38.5 °F (3.6 °C) P1 CE Pending" in lines


def test_a_corrected_reading_stays_readable_with_the_new_one_named_under_it(record, story):
    old, new = story["wrong"].pk, story["right"].pk
    lines = section(record, "Readings")
    assert f"R{old} Yoghurt Cold holding: ≤ 5 °C 44.0 °C P1 CE Void" in lines
    assert f"Struck out by CE, 2 Apr 2026 12:00: Point was missed. In its place: R{new}, 4.4 °C." in lines
    assert f"Corrects R{old}." in lines
    assert f"R{old}: Yoghurt, 44.0 °C, P1, 20 Mar 2026 09:00 R{new}: Yoghurt, 4.4 °C" in section(
        record, "Corrections and voids"
    )


def test_a_void_reading_says_that_nothing_stands_in_its_place(record, story):
    lines = section(record, "Readings")
    assert f"R{story['struck'].pk} Ham" in lines
    assert "Struck out by MH, 2 Apr 2026 12:00: Entered twice. Nothing stands in its place." in lines


def test_an_entry_made_at_the_time_is_not_marked_late(clock, world, site):
    clock.move_to(at(20, 12))
    take(world, "3.0", at(20, 11, 30), item="Fresh")
    take(world, "3.0", at(20, 9, 30), item="Stale")
    lines = section_of(site, "Readings")
    assert lines.count("Entered late") == 1
    assert lines.index("Stale") < lines.index("Entered late 20 Mar 2026 12:00.") < lines.index("Fresh")


def test_a_failed_check_is_told_in_full(record, story):
    told = section(record, "Checks that did not pass, in full")
    assert f"C{story['failed'].pk}: probe P1, out of tolerance, 9 Mar 2026 07:30" in told
    assert all(sentence in told for sentence in Check.objects.get(pk=story["failed"].pk).why)
    assert f"C{story['unclear'].pk}: probe P2, inconclusive" in told
    assert f"C{story['after'].pk}" not in told


def test_a_failed_check_shows_its_whole_budget(record, story):
    told = section(record, "Checks that did not pass, in full").replace(NBSP, " ")
    parts = Check.objects.get(pk=story["failed"].pk).budget["components"]
    assert len(parts) >= 4 and all(f"{part['name']} ±0." in told and part["why"] in told for part in parts)


def test_a_check_that_passed_near_the_edge_says_so_and_is_due_sooner(clock, world, site):
    clock.move_to(at(20, 12))
    checks.zero(world.probe, world.manager, at(12), "1.0")
    told = section_of(site, "Probes and their checks")
    assert "Passed near the edge of its tolerance." in told
    assert days_of(world.probe) == 7 and "13 Mar 2026" in told


def test_deviations_say_what_was_done_or_that_nothing_was(record):
    told = section(record, "Deviations and what was done")
    numbers = Deviation.objects.values_list("pk", flat=True)
    assert Counter(map(int, re.findall(r"\bD(\d+) \d", told))) == Counter(numbers)
    assert "Reheated to 80 °C. Cause: Lamp failed. Food: cooked on, reheated or chilled again." in told
    assert told.count("No action has been recorded.") == 2


def test_a_replaced_action_stays_readable(story, world, site):
    data = ActData(action="Discarded it all", cause="Lamp failed", disposition="discarded", done_at=at(16, 13))
    readings.act_on_deviation(by=world.manager, deviation=story["breach"].deviation, data=data)
    told = section_of(site, "Deviations and what was done")
    assert (
        told.index("Reheated to 80 °C") < told.index("The entry above was struck out") < told.index("Discarded it all")
    )


def test_a_case_says_why_from_when_what_it_could_have_been_and_who_signed(record, story):
    told = section(record, "Cases of quarantine and decisions")
    assert f"Case C{story['failed'].pk}: probe P1" in told
    assert "From 27 Feb 2026 09:00 To 9 Mar 2026 08:30" in told
    (span,) = Span.objects.filter(ahead=story["failed"]).select_related("probe", "behind", "ahead")
    low, high = (number(Decimal(milli) / 1000) for milli in true_range(6900, bounds(bracket_of(span))))
    assert f"6.9 °C {low} to {high} °C cannot be told CE" in told
    assert "Reviewed: every reading of this" in told and "with the decisions." in told
    assert "Sol Venn (SV)" in told and "2 Apr 2026 12:00 BST" in told


def test_a_check_without_a_figure_and_what_it_leaves_untold_stand_there(clock, world, site):
    clock.move_to(at(2, 12, month=4))
    checks.good(world.probe, world.cook, at(2))
    take(world, "3.1", at(4))
    check = checks.dead(world.probe, world.cook, at(9))
    record = sections_of(scope_of(site), summary, failures, cases, probes)
    assert "It gave no figure: an error sign such as Lo or Err." in section(record, "Probes and their checks")
    assert "none found; allowed ±1.00 °C" in section(record, "Checks that did not pass, in full")
    told = section(record, "Cases of quarantine and decisions")
    assert f"C{check.pk}, 9 Mar 2026 09:00 GMT: none found, out of tolerance" in told
    assert "a check or its figure is missing on one side" in told and "3.1 °C cannot be told cannot be told" in told
    assert f"1 failed (C{check.pk}), 0 inconclusive. Failed, without a figure: C{check.pk}." in section(
        record, "Summary"
    )


def test_the_summary_counts_and_hides_no_zero(record):
    told = section(record, "Summary")
    for line in (
        "5 checks: 3 passed, 1 failed (C",
        "1 inconclusive (C",
        "9 readings; 9 entered late; 2 void.",
        "3 proven, 2 pending, 4 quarantined, 0 unproven.",
        "3 deviations: 1 cooked on, reheated or chilled again; 2 open, nothing recorded yet about what was done.",
        "1 case: 1 signed (C",
        "Of 4 readings in them 4 decided, 0 still to decide on.",
    ):
        assert line in told


def test_open_points_name_what_is_undecided(record, story):
    told = section(record, "Open points at printing")
    assert f"Deviation D{story['open'].deviation.pk} Peas" in told
    assert f"D{story['breach'].deviation.pk}" not in told
    assert "Probe P1 Its check was overdue" in told


def test_open_points_say_as_of_when_each_is_open(clock, world, site):
    clock.move_to(at(16, 12))
    closed, _ = (take(world, "9.0", at(16), item=item) for item in ("Ham", "Peas"))
    assert "As of printing, 16 Mar 2026 12:00 GMT, when the period was not over." in section_of(
        site, "Open points at printing"
    )
    clock.move_to(at(2, 12, month=4))
    take(world, "9.0", at(17), item="Rice")
    data = ActData(action="Binned it", cause="Door open", disposition="discarded", done_at=at(16, 13))
    readings.act_on_deviation(by=world.manager, deviation=closed.deviation, data=data)
    told = section_of(site, "Open points at printing")
    assert "As of printing, 2 Apr 2026 12:00 BST, and as of the end of the period, 1 Apr 2026 00:00 BST, where" in told
    assert re.search(r"Peas, [^:]+:00: nothing is recorded about what was done. both", told)
    assert re.search(r"Rice, [^:]+:00: nothing is recorded about what was done. printing", told)
    assert re.search(r"Ham, [^:]+:00: what was done was recorded after it, 2 Apr 2026 12:00. end of the period", told)


def test_people_are_named_behind_their_initials(record):
    told = section(record, "People named in this record")
    assert {"CE Col Esker", "MH Mara Holt", "SV Sol Venn"} <= set(re.findall(r"[A-Z]{2} \w+ \w+", told))


def test_readings_of_other_sites_and_other_days_are_left_out(clock, world, site, other_site):
    clock.move_to(making.NOW)
    take(world, "3.0", at(28, month=2), item="Too early")
    take(world, "3.0", at(5), item="Within")
    take(world, "3.0", at(1, month=4), item="Too late")
    Reading.objects.create(
        key="elsewhere",
        probe=world.probe,
        site=other_site,
        limit_version=world.limit.versions.get(),
        item="Elsewhere",
        typed="3.0",
        unit="C",
        value_milli=3000,
        taken_at=at(5),
        taken_by=world.cook,
        recorded_by=world.cook,
    )
    text = record_of(site)
    assert "Within" in text and "Too early" not in text and "Too late" not in text and "Elsewhere" not in text


@pytest.mark.parametrize(
    ("zone", "on", "first", "last"),
    [
        ("Europe/London", date(2026, 3, 29), "2026-03-29T00:00+00:00", "2026-03-29T22:59+00:00"),  # 23 hours
        ("Europe/London", date(2026, 10, 25), "2026-10-24T23:00+00:00", "2026-10-25T23:59+00:00"),  # 25 hours
        ("America/New_York", date(2026, 3, 1), "2026-03-01T05:00+00:00", "2026-03-02T04:59+00:00"),
        ("Asia/Kathmandu", date(2026, 3, 1), "2026-02-28T18:15+00:00", "2026-03-01T18:14+00:00"),
    ],
)
def test_a_day_lasts_from_midnight_to_midnight_on_the_clock_of_the_site(clock, world, site, zone, on, first, last):
    clock.move_to(datetime(2026, 12, 1, tzinfo=ZoneInfo("UTC")))
    Site.objects.filter(pk=site.pk).update(time_zone=zone)
    begins, ends = datetime.fromisoformat(first), datetime.fromisoformat(last)
    minute = timedelta(minutes=1)
    inside = [take(world, "3.0", moment).pk for moment in (begins, ends)]
    for moment in (begins - minute, ends + minute):
        take(world, "3.0", moment)
    site.refresh_from_db()
    assert sorted(rows(section_of(site, "Readings", on, on), "R")) == inside


def test_an_hour_that_the_clocks_repeat_is_told_apart(clock, world, site):
    clock.move_to(at(1, month=12))
    for hour in ("00", "01"):
        take(world, "3.0", datetime.fromisoformat(f"2026-10-25T{hour}:30+00:00"))
    lines = section_of(site, "Readings", date(2026, 10, 25), date(2026, 10, 25))
    assert "01:30 BST R" in lines and "01:30 GMT R" in lines


def test_days_without_a_reading_are_named(story, site):
    lines = section_of(site, "Readings")
    assert "7 Mar 2026 to 15 Mar 2026: no reading was recorded." in lines
    assert "22 Mar 2026 to 31 Mar 2026: no reading was recorded." in lines


def test_days_to_come_are_not_called_empty(clock, world, site):
    text = sections_of(scope_of(site), title, readings_section)
    assert "1 Mar 2026 to 11 Mar 2026: no reading was recorded." in text
    assert "The period was not over when this record was printed." in text


def test_a_check_made_elsewhere_is_shown_with_its_place(clock, world, site, other_site):
    checks.good(world.probe, world.supervisor, at(5, 9), site=other_site)
    assert "Made by Sol Venn (SV) at Birch House." in section_of(site, "Probes and their checks")


def test_a_probe_that_was_never_here_is_left_out(clock, world, site, other_site):
    make_probe(other_site, "STRAY", by=world.supervisor)
    assert "STRAY" not in record_of(site)


def test_a_change_of_a_limit_in_the_period_is_told_with_its_reason(clock, world, site, limit):
    make_version(limit, by=world.manager, value="4", effective_from=at(10), recorded_at=at(10), reason="New cold store")
    plan = section_of(site, "Limits in force")
    assert "at most 5 °C" in plan and "at most 4 °C" in plan
    assert "Changed in the period, from 10 Mar 2026 09:00." in plan and "New cold store." in plan


def test_a_limit_that_ended_before_the_period_is_left_out(clock, world, site, limit):
    make_version(limit, by=world.manager, value="5", effective_from=at(10, month=2), in_force=False)
    assert "No limit was in force at this site in the period." in section_of(site, "Limits in force")


def test_a_decision_on_an_earlier_reading_belongs_to_both_records(story, world, site, clock):
    march, april = (
        section_of(site, "Cases of quarantine and decisions", first, last)
        for first, last in ((making.FIRST, making.LAST), (date(2026, 4, 1), date(2026, 4, 30)))
    )
    assert rows(march, "R") == rows(april, "R") != Counter()
    assert "Taken outside the period, decided in it." in april and "Taken outside" not in march


def test_a_decision_moves_with_its_reading_when_another_entry_keeps_it_in_quarantine(story, world, site):
    checks.actions.void_check(by=world.supervisor, check=story["failed"], reason="Bath was salted")
    told = section_of(site, "Cases of quarantine and decisions")
    assert f"Case E{story['event'].pk}: probe P1" in told and "Why: Binned 4 kg of soup." in told


def test_a_decision_outlives_the_check_that_asked_for_it(clock, world, site):
    clock.move_to(at(30))
    checks.good(world.probe, world.cook, at(2))
    reading = take(world, "3.1", at(3))
    failed = checks.bad(world.probe, world.cook, at(9))
    making.decide(world, f"check:{failed.pk}", "discarded", ids=(reading.pk,), why="Binned it")
    checks.actions.void_check(by=world.supervisor, check=failed, reason="Bath was salted")
    told = section_of(site, "Cases of quarantine and decisions")
    former = told.split("Decisions on readings that are no longer in quarantine")[1]
    assert "Why: Binned it." in former and f"R{reading.pk} Soup" in former and "not in question" in former


def test_an_empty_site_has_a_whole_record(clock, world, other_site):
    text = record_of(other_site)
    assert "No probe was here in the period." in text
    assert "No limit was in force at this site in the period." in text
    assert "Nothing was read and no check was made in this period, so nothing could be left open." in text


def test_a_check_at_boiling_shows_its_reference_its_pressure_and_where_it_is_from(clock, world, site):
    clock.move_to(at(2, 12, month=4))
    checks.good(world.probe, world.cook, at(9))
    check = checks.boiling(world.probe, world.cook, at(10), immersion_mm=60, typed_pressure=("28.14", "inHg"))
    told = section_of(site, "Probes and their checks")
    assert f"C{check.pk} found Water at a rolling boil, 98.27 ±0.2" in told.replace(NBSP, " ")
    assert (
        "Pressure 953 hPa (typed as 28.14 inHg), from a barometer here; of this place, as somebody said; altitude"
        in told.replace(NBSP, " ")
    )
    assert ", 60 mm" in told.replace(NBSP, " ") and "unchanged" in told


def test_the_procedure_of_the_checks_is_named_with_its_version_and_each_older_one_says_so(
    clock, world, site, monkeypatch
):
    clock.move_to(at(30))
    monkeypatch.setattr(USUAL, "version", None)
    checks.good(world.probe, world.cook, at(2))
    monkeypatch.setattr(USUAL, "version", 2)
    checks.bad(world.probe, world.cook, at(3))
    text = sections_of(scope_of(site), failures, probes)
    told = section(text, "Probes and their checks")
    assert "Procedure, where a line says nothing else: Zero-point check, version 2." in told
    assert told.count("Procedure: version not recorded.") == 1
    assert "Procedure Zero-point check, version 2" in section(text, "Checks that did not pass, in full")


def test_a_check_at_boiling_that_failed_is_told_in_full(clock, world, site):
    clock.move_to(at(2, 12, month=4))
    check = checks.boiling(world.probe, world.cook, at(10), "96.2")
    told = section_of(site, "Checks that did not pass, in full").replace(NBSP, " ")
    assert f"C{check.pk}: probe P1, out of tolerance, 10 Mar 2026 09:00" in told
    assert (
        "Pressure 953 hPa, from a barometer here; of this place, as somebody said; altitude" in told
        and "Of the pan" in told
    )
    assert all(sentence in told for sentence in check.why)


def test_a_check_at_boiling_makes_no_check_at_zero_early_or_late(clock, world, site):
    clock.move_to(at(30, 12))
    made = [checks.good(world.probe, world.cook, at(day)) for day in (1, 8)]
    checks.boiling(world.probe, world.cook, at(12))
    made.append(checks.good(world.probe, world.cook, at(17)))
    assert late(making.scope_of(site)) == [f"C{made[-1].pk}"]
