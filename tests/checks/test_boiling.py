"""Checks at boiling once they are made: what is refused, what the pages say, correcting and voiding them."""

import uuid
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from compliance.checks.actions import void_check
from compliance.checks.check_page import told
from compliance.checks.kinds import GUIDANCE
from compliance.checks.kinds.boiling import BOILING
from compliance.checks.models import Check, CheckDraft
from compliance.checks.queries import entered_late
from compliance.checks.surroundings import PASCAL, PressureUnit, to_pascal
from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings
from compliance.metrology.boiling import WANTED, BoilingKind, BoilingPoint
from compliance.plans.schedule import TICK
from compliance.records.formatting import air
from shared.audit.models import Entry
from sites.models import Site
from tests.world import make_probe

from .making import QUIET, START, UPLAND, bad, boiling, day, good, risen_to, standings


def page(client, name, *args):
    response = client.get(reverse(name, args=args))
    assert response.status_code == 200
    return response.content.decode()


def test_a_check_is_recorded_with_its_reference_and_budget(probe, cook):
    check = boiling(probe, cook, START, typed_pressure=("953", "hPa"))
    # At 95 300 Pa water boils at 98.2657 °C (the library iapws).
    assert (check.reference_milli, check.reading_milli, check.error_milli) == (98_266, 98_400, 134)
    assert {part["name"] for part in check.budget["components"]} >= {"barometer", "superheat", "display"}
    assert 0 < check.expanded_milli < 500 and check.timed_readings.count() == 6
    assert check.surroundings["typed"] == "953" and check.recorded_by == cook


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"air": Surroundings(source=PressureSource.STATION, pressure=101_300.0, altitude=520.0)}, "sea level"),
        (
            {"air": Surroundings(source=PressureSource.SEA_LEVEL, pressure=93_000.0, altitude=520.0)},
            "on the spot",
        ),
        ({"air": Surroundings(source=PressureSource.STATION, pressure=None, altitude=520.0)}, "air pressure"),
        ({"readings": []}, "at least one reading"),
        ({"readings": [(1000, "hot", "C")]}, "not a number"),
        ({"stage": "as_hoped"}, "as found or after"),
        ({"immersion_mm": -3}, "depth"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_recorded(probe, cook, changes, message):
    with pytest.raises(ValidationError, match=message):
        boiling(probe, cook, START, **changes)
    assert not Check.objects.exists() and not Entry.objects.exists()


@pytest.mark.parametrize(
    ("fields", "message"), [({"highest_milli": 100_000}, "up to 105 °C"), ({"sensor": "liquid_in_glass"}, "glass")]
)
def test_a_probe_that_boiling_water_would_harm_is_refused(world, cook, manager, fields, message):
    probe = make_probe(world.site, "P9", by=manager, **fields)
    with pytest.raises(ValidationError, match=message):
        boiling(probe, cook, START)
    assert not Check.objects.exists()


def test_a_range_up_to_105_degrees_is_enough(world, cook, manager):
    assert boiling(make_probe(world.site, "P9", by=manager, highest_milli=105_000), cook, START).pk


def test_the_same_key_records_once(probe, cook):
    key = uuid.uuid4()
    assert boiling(probe, cook, START, key=key) == boiling(probe, cook, START, key=key)
    with pytest.raises(ValidationError, match="already sent"):
        boiling(probe, cook, START, "95.0", key=key)
    assert Check.objects.count() == 1


def test_recording_ends_its_own_draft_only(probe, cook):
    drafts = [
        CheckDraft.objects.create(key=uuid.uuid4(), probe=probe, person=cook, started_at=START, kind=kind)
        for kind in ("zero", "boiling")
    ]
    boiling(probe, cook, START, key=drafts[1].key)
    assert CheckDraft.objects.get() == drafts[0]


def test_a_failed_check_at_boiling_puts_readings_in_quarantine_and_makes_a_check_due(probe, cook):
    good(probe, cook, day(0))
    boiling(probe, cook, day(2), "95.8")
    assert "quarantined" in standings(probe)
    probe.state.refresh_from_db()
    assert probe.state.due_at == day(2) + 2 * TICK and "boiling" in probe.state.due_because


def test_a_good_check_at_boiling_vouches_for_nothing_and_moves_no_date(probe, cook):
    good(probe, cook, day(0))
    before = standings(probe), probe.checks.count()
    boiling(probe, cook, day(2))
    probe.state.refresh_from_db()
    assert standings(probe) == before[0] and probe.state.due_at == day(7)


def test_an_entry_hours_later_is_late(probe, cook):
    now = timezone.now()
    assert entered_late(boiling(probe, cook, now - timedelta(hours=3)))
    assert not entered_late(boiling(probe, cook, now - timedelta(hours=1)))


def test_the_page_of_a_check_shows_verdict_reference_and_air(as_person, reader, probe, cook):
    check = boiling(probe, cook, START, typed_pressure=("28.14", "inHg"))
    shown = page(as_person(reader), "check_detail", check.pk)
    for words in (
        "Boiling check of P1",
        "boiling point here 98.3 °C",
        "In tolerance at the boiling point",
        "Reference 98.27 °C",
        "pressure 953 hPa (typed as 28.14 inHg), from a barometer here",
        "of this place, as somebody said",
        "altitude 520 m",
        "IAPWS R7-97",
        "It boiled hard",
        "The pan stays hot",
        "before it goes into food",
    ):
        assert words in shown, words
    assert "ice" not in shown.split("<main")[1].split("</main")[0].replace("practice", "").replace("device", "")


def test_a_fahrenheit_site_reads_fahrenheit(as_person, reader, probe, cook):
    Site.objects.filter(pk=probe.site_id).update(unit="F")
    probe.site.refresh_from_db()
    check = boiling(probe, cook, START, readings=risen_to("209.1", "F"))
    shown = page(as_person(reader), "check_detail", check.pk)
    assert "boiling point here 208.9 °F" in shown and "altitude 520 m (1706 ft)" in shown and "209.1 °F" in shown
    assert check.error_milli == 123  # 209.1 °F are 98.389 °C, and water boils at 98.266 °C


def test_a_failed_or_unclear_check_leads_back_to_boiling(as_person, cook, probe):
    client = as_person(cook)
    for at, changes in ((day(0), {"pan": QUIET}), (day(1), {"value": "95.0"})):
        check = boiling(probe, cook, at, **changes)
        shown = page(client, "check_detail", check.pk)
        assert f'href="{reverse("boiling_check", args=[probe.pk])}"' in shown and "Check it again" in shown


def test_each_end_of_the_scale_has_a_last_check_of_its_own(probe, cook):
    zero, hot = good(probe, cook, day(0)), boiling(probe, cook, day(1))
    assert (
        told(zero)["next"]["heading"] == "You may use it" and told(hot)["next"]["heading"] == "It is right at boiling"
    )
    later = bad(probe, cook, day(2))
    for check in (zero, hot, later):
        check.refresh_from_db()
        check.probe.refresh_from_db()
    assert told(zero)["next"]["heading"] == "This is not its last check"
    assert told(Check.objects.get(pk=hot.pk))["next"]["heading"] == "It is right at boiling"


def test_the_probe_lists_it_and_offers_the_check(as_person, cook, reader, probe):
    boiling(probe, cook, START)
    shown = page(as_person(cook), "probe_detail", probe.pk)
    assert "boiling point here 98.3 °C" in shown and f'href="{reverse("boiling_check", args=[probe.pk])}"' in shown
    assert reverse("boiling_check", args=[probe.pk]) not in page(as_person(reader), "probe_detail", probe.pk)
    type(probe).objects.update(highest_milli=90_000)
    assert reverse("boiling_check", args=[probe.pk]) not in page(as_person(cook), "probe_detail", probe.pk)


def correction(client, check, **changes):
    form = client.get(reverse("check_correct", args=[check.pk])).context["form"]
    given = {name: form[name].value() for name in form.fields}
    given |= {"checked_at": "2026-01-05T09:00", "reason": "Read off wrong", **changes}
    given = {name: "" if value is None else value for name, value in given.items()}
    return client.post(reverse("check_correct", args=[check.pk]), given)


@pytest.mark.usefixtures("soon_after")
def test_a_mistake_is_corrected_and_both_stay(as_person, supervisor, probe, cook):
    old = boiling(probe, cook, START, typed_pressure=("953", "hPa"))
    response = correction(as_person(supervisor), old, pressure="943")
    new = Check.objects.exclude(pk=old.pk).get()
    assert response.url == reverse("check_detail", args=[new.pk]) and old.void.replacement == new
    assert new.surroundings["pressure_pa"] == 94_300 and new.reference_milli < old.reference_milli
    assert (new.kind, new.preparation, new.checked_by, new.reading_milli) == (
        "boiling",
        old.preparation,
        old.checked_by,
        old.reading_milli,
    )
    assert Entry.objects.filter(action="check.correct").count() == 1


@pytest.mark.usefixtures("soon_after")
def test_a_correction_asks_which_pressure_it_was_where_it_may_be_either(as_person, supervisor, probe, cook):
    old = boiling(probe, cook, START, air=replace(UPLAND, level=None))
    assert old.verdict == "inconclusive" and "may be the pressure of this place" in " ".join(old.why)
    shown = correction(as_person(supervisor), old).content.decode()
    assert "of this place or reduced to sea level: say which" in shown and Check.objects.count() == 1
    correction(as_person(supervisor), old, pressure_level="sea_level")
    new = Check.objects.exclude(pk=old.pk).get()
    # 953 hPa reduced to sea level are 896 hPa at 520 m (ICAO Doc 7488), where water boils at 96.55 °C (the library iapws).
    assert new.surroundings["level"] == "sea_level" and new.reference_milli == pytest.approx(96_550, abs=60)


def test_an_answer_is_kept_shown_and_printed(as_person, reader, probe, cook):
    for level, words in (
        (PressureLevel.HERE, "of this place, as somebody said"),
        (PressureLevel.SEA_LEVEL, "reduced to sea level, as somebody said"),
        (PressureLevel.UNKNOWN, "it is not known whether it is of this place or reduced to sea level"),
        (None, "it is not known whether it is of this place or reduced to sea level"),
    ):
        check = boiling(probe, cook, START, air=replace(UPLAND, level=level))
        assert check.surroundings.get("level") == level
        assert words in page(as_person(reader), "check_detail", check.pk) and words in air(check, "C")
        assert (check.verdict == "inconclusive") is (level in (None, PressureLevel.UNKNOWN)) or level == "sea_level"


def test_the_same_form_with_another_answer_is_another_check(probe, cook):
    key = uuid.uuid4()
    boiling(probe, cook, START, key=key)
    with pytest.raises(ValidationError, match="already sent"):
        boiling(probe, cook, START, key=key, air=replace(UPLAND, level=PressureLevel.UNKNOWN))


def test_a_correction_refuses_a_pressure_at_sea_level_and_keeps_what_was_typed(as_person, supervisor, probe, cook):
    old = boiling(probe, cook, START)
    response = correction(as_person(supervisor), old, pressure="1013")
    shown = response.content.decode()
    assert "at sea level, as weather reports give it" in shown and 'value="1013"' in shown
    assert Check.objects.count() == 1


def test_a_check_declared_void_counts_no_more(as_person, supervisor, probe, cook):
    good(probe, cook, day(0))
    failed = boiling(probe, cook, day(2), "95.0")
    client = as_person(supervisor)
    client.post(reverse("check_void", args=[failed.pk]), {"reason": "The pan was salted."})
    assert "quarantined" not in standings(probe) and "no longer counts" in page(client, "check_detail", failed.pk)
    with pytest.raises(ValidationError, match="already"):
        void_check(by=supervisor, check=failed, reason="again")


def test_every_point_that_counts_has_a_step_and_words():
    for guidance in GUIDANCE.values():
        for way, steps in guidance.before.items():
            points = {task.point for task in (*steps, *guidance.inside[way])}
            assert set(guidance.wanted[way]) <= points | {guidance.waited, guidance.moved} and set(
                guidance.lacks(way, frozenset(guidance.met))
            ) <= points | {guidance.moved}
            assert points <= set(guidance.met) & set(guidance.missing)
    assert set(BOILING.met) == set(BoilingPoint) and set(BOILING.ways) == set(BoilingKind)
    assert BOILING.wanted == WANTED


def test_every_step_at_the_pan_that_is_hot_shows_that_steam_scalds():
    hot = [task for steps in BOILING.inside.values() for task in steps]
    assert hot and all("boiling_water" in task.cautions for task in hot)


@pytest.mark.parametrize(
    ("text", "unit", "pascal"),
    [
        ("1013.25", "hPa", 101_325),
        ("101.325", "kPa", 101_325),
        ("29.9213", "inHg", 101_325.2),
        ("760", "mmHg", 101_325),
    ],
)
def test_pressures_in_the_units_that_barometers_show(text, unit, pascal):
    # NIST SP 811, appendix B.8: 1 inHg = 3386.389 Pa, 1 mmHg = 133.3224 Pa; the standard atmosphere is 760 mmHg.
    assert to_pascal(Decimal(text), unit) == pytest.approx(pascal, abs=0.5)
    assert set(PASCAL) == set(PressureUnit)


def test_a_probe_that_failed_at_boiling_is_led_there_from_today_and_from_the_list(
    as_person, cook, manager, probe, site
):
    now = timezone.now()
    good(probe, cook, now - timedelta(hours=3))
    client, address = as_person(cook), reverse("boiling_check", args=[probe.pk])
    assert address not in page(client, "today_site", site.pk) + page(client, "probe_list")
    boiling(probe, cook, now - timedelta(hours=2), "95.0")
    assert "Decide" in page(client, "today_site", site.pk) and address in page(client, "probe_detail", probe.pk)
