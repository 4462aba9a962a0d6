"""What recording and striking out checks and events does."""

import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.utils import timezone

from compliance.checks import actions
from compliance.checks.kinds.certificate import CertificateData
from compliance.checks.models import Check, CheckDraft, CheckVoid, Span
from compliance.checks.queries import entered_late
from compliance.probes.models import Event, EventKind
from shared.audit.models import Entry
from tests.world import make_probe

from .making import START, bad, certificate, correct_zero, day, event, good, settled_at, standings, unclear, zero


def test_a_good_check_is_recorded_with_its_readings_and_figures(probe, cook):
    check = good(probe, cook, START, note=" after lunch ")
    assert (check.verdict, check.reading_milli, check.error_milli) == ("in_tolerance", 100, 100)
    assert 0 < check.expanded_milli < 500 and check.tolerance_milli == probe.tolerance_milli
    assert [t.typed for t in check.timed_readings.all()] == ["8.0"] + ["0.1"] * 5
    assert check.note == "after lunch" and check.checked_by == cook and check.recorded_by == cook
    assert check.why[0].startswith("In tolerance") and check.budget["components"]


def test_a_failed_check_quarantines_what_came_before_and_after(probe, cook):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(7))
    spans = list(probe.spans.order_by("ends_at"))
    assert [s.standing for s in spans] == ["unproven", "quarantined", "quarantined"]
    assert {s.anchor for s in spans[1:]} == {f"check:{failed.pk}"}
    assert [s.cause for s in spans] == ["", "failed_ahead", "used_after_failure"]


def test_a_fahrenheit_display_is_judged_in_celsius(probe, cook):
    check = zero(probe, cook, START, readings=settled_at("32.4", "F"))
    assert check.error_milli == 222 and check.verdict == "in_tolerance"


def test_a_bath_that_nobody_stirred_says_nothing(probe, cook):
    check = unclear(probe, cook, START)
    assert check.verdict == "inconclusive" and standings(probe) == ["unproven"]


def test_the_same_key_records_once_and_gives_the_first_check(probe, cook):
    key = uuid.uuid4()
    first = good(probe, cook, START, key=key)
    assert good(probe, cook, START, key=key) == first
    assert Check.objects.count() == 1 and Entry.objects.filter(action="check.record").count() == 1


def test_another_check_under_a_used_key_is_refused_in_words(probe, cook, manager):
    key = uuid.uuid4()
    good(probe, cook, START, key=key)
    for again in (
        lambda: bad(probe, cook, START, key=key),
        lambda: good(probe, cook, START + timedelta(minutes=1), key=key),
        lambda: good(probe, manager, START, key=key),
        lambda: good(probe, cook, START, key=key, note="Cracked"),
        lambda: certificate(probe, cook, START, key=key),
    ):
        with pytest.raises(ValidationError, match="already sent and saved as P1 zero point"):
            again()
    assert Check.objects.count() == 1


def test_a_used_key_keeps_no_check_of_another_probe_out_and_touches_nobody_elses_draft(probe, cook, world, manager):
    key, other = uuid.uuid4(), make_probe(world.site, "P2", by=manager)
    draft = CheckDraft.objects.create(key=key, probe=other, person=manager, started_at=START)
    first = good(probe, cook, START, key=key)
    assert CheckDraft.objects.filter(pk=draft.pk).exists()
    assert good(other, cook, START, key=key) != first and Check.objects.filter(key=key).count() == 2


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"readings": []}, "at least one reading"),
        ({"readings": [(1000, "cold", "C")]}, "Reading 1: “cold” is not a number"),
        ({"readings": [(1000, "450", "C")]}, "decimal point"),
        ({"readings": [(-1, "0", "C")]}, "before the probe went in"),
        ({"stage": "as_hoped"}, "as found or after"),
        ({"immersion_mm": -3}, "depth"),
        ({"checked_at": timezone.now() + timedelta(hours=1)}, "lie ahead"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_recorded(probe, cook, changes, message):
    at = changes.pop("checked_at", START)
    with pytest.raises(ValidationError, match=message):
        good(probe, cook, at, **changes)
    assert not Check.objects.exists() and not Span.objects.exists() and not Entry.objects.exists()


def test_a_site_of_another_business_is_refused(probe, cook, foreign_site):
    with pytest.raises(ValidationError, match="another business"):
        good(probe, cook, START, site=foreign_site)


def test_recording_ends_the_draft(probe, cook):
    draft = CheckDraft.objects.create(key=uuid.uuid4(), probe=probe, person=cook, started_at=START)
    good(probe, cook, START, key=draft.key)
    assert not CheckDraft.objects.exists()


def test_a_void_check_stays_readable_and_the_timeline_is_cut_without_it(probe, cook, supervisor):
    good(probe, cook, day(0))
    failed = bad(probe, cook, day(7))
    actions.void_check(by=supervisor, check=failed, reason="The bath was warm water.")
    assert standings(probe) == ["unproven", "pending"]
    assert Check.objects.filter(pk=failed.pk).exists() and failed.void.reason == "The bath was warm water."


def test_a_check_is_void_once_and_for_a_reason(probe, cook, supervisor):
    check = good(probe, cook, START)
    with pytest.raises(ValidationError, match="Say why"):
        actions.void_check(by=supervisor, check=check, reason="  ")
    actions.void_check(by=supervisor, check=check, reason="wrong probe")
    with pytest.raises(ValidationError, match="already"):
        actions.void_check(by=supervisor, check=check, reason="wrong probe")
    assert CheckVoid.objects.count() == 1


def test_a_correction_names_the_check_that_it_replaces(probe, cook, supervisor):
    old = bad(probe, cook, START)
    new = correct_zero(old, supervisor)
    assert old.void.replacement == new and new.corrects.voids == old
    assert new.checked_by == cook and new.recorded_by == supervisor and standings(probe) == ["unproven", "pending"]


def test_a_correction_sent_twice_is_one(probe, cook, supervisor):
    old, key = bad(probe, cook, START), uuid.uuid4()
    assert correct_zero(old, supervisor, key=key) == correct_zero(old, supervisor, key=key)
    assert Check.objects.count() == 2 and CheckVoid.objects.count() == 1


def test_a_correction_under_a_used_key_is_taken_for_no_other_one(probe, cook, supervisor):
    old, other, key = bad(probe, cook, START), bad(probe, cook, START), uuid.uuid4()
    correct_zero(old, supervisor, key=key)
    for again in (
        lambda: correct_zero(other, supervisor, key=key),
        lambda: correct_zero(old, supervisor, key=key, reason="Another bath"),
        lambda: zero(probe, supervisor, START, "0.4", key=key, checked_by=cook),
    ):
        with pytest.raises(ValidationError, match="already sent"):
            again()
    assert Check.objects.count() == 3 and CheckVoid.objects.count() == 1


def test_a_correction_of_something_void_records_nothing(probe, cook, supervisor):
    old = bad(probe, cook, START)
    actions.void_check(by=supervisor, check=old, reason="twice")
    with pytest.raises(ValidationError, match="already"):
        correct_zero(old, supervisor)
    assert Check.objects.count() == 1


def test_a_certificate_is_a_check_with_its_own_figures(probe, manager):
    check = certificate(probe, manager, START, error_milli=-300, expanded_milli=80)
    assert (check.kind, check.verdict, check.error_milli, check.reading_milli) == (
        "certificate",
        "in_tolerance",
        -300,
        -300,
    )
    assert certificate(probe, manager, day(1), error_milli=1500).verdict == "out_of_tolerance"
    assert standings(probe)[1] == "quarantined"


def test_a_certificate_may_be_corrected(probe, manager, supervisor):
    old = certificate(probe, manager, START, error_milli=1500)
    data = CertificateData(
        key=uuid.uuid4(),
        site=probe.site,
        stage="as_found",
        checked_at=START,
        laboratory="Fen Measurement",
        certificate_number="F-77",
        reference_milli=0,
        error_milli=150,
        expanded_milli=50,
    )
    new = actions.correct(by=supervisor, check=old, reason="misread", data=data)
    assert new.verdict == "in_tolerance" and old.void.replacement == new


def test_a_zero_check_is_not_corrected_into_a_certificate(probe, manager, cook):
    with pytest.raises(ValidationError, match="stays with its kind"):
        correct_zero(certificate(probe, manager, START), cook)


def test_an_adjustment_without_a_check_first_quarantines(probe, cook, manager):
    good(probe, cook, day(0))
    adjusted = event(probe, manager, EventKind.ADJUSTED, day(3))
    good(probe, cook, day(3.1), stage="as_left")
    assert standings(probe) == ["unproven", "quarantined", "quarantined", "pending"]
    assert probe.spans.filter(anchor=f"event:{adjusted.pk}").count() == 2


def test_a_drop_cuts_nothing_and_makes_a_check_due(probe, cook):
    good(probe, cook, day(0))
    event(probe, cook, EventKind.DROPPED, day(3))
    probe.state.refresh_from_db()
    assert standings(probe) == ["unproven", "pending"] and probe.state.due_at == day(3)
    assert probe.state.due_because == "dropped and not checked since"


def test_a_probe_put_aside_waits_for_one_check_and_then_has_nothing_due_until_it_returns(probe, cook, manager):
    good(probe, cook, day(0))
    event(probe, manager, EventKind.WITHDRAWN, day(2))
    probe.refresh_from_db()
    assert probe.withdrawn and (probe.state.due_at, probe.state.due_because) == (
        day(2),
        "put aside and not checked since",
    )
    good(probe, cook, day(3))
    probe.refresh_from_db()
    assert probe.withdrawn and probe.state.due_at is None
    event(probe, manager, EventKind.RETURNED, day(4))
    probe.refresh_from_db()
    assert not probe.withdrawn and probe.state.due_at == day(4)


def test_the_same_event_sent_twice_is_one(probe, cook):
    first = event(probe, cook, EventKind.DROPPED, START, "off the shelf")
    assert event(probe, cook, EventKind.DROPPED, START, "off the shelf") == first and Event.objects.count() == 1


def test_a_void_event_no_longer_counts(probe, cook, supervisor):
    good(probe, cook, day(0))
    adjusted = event(probe, cook, EventKind.ADJUSTED, day(3))
    actions.void_event(by=supervisor, event=adjusted, reason="other probe")
    assert standings(probe) == ["unproven", "pending"]
    with pytest.raises(ValidationError, match="already"):
        actions.void_event(by=supervisor, event=adjusted, reason="other probe")


def test_an_event_may_be_replaced_by_the_right_one(probe, cook, supervisor):
    wrong = event(probe, cook, EventKind.WITHDRAWN, day(3))
    void = actions.void_event(by=supervisor, event=wrong, reason="only dropped", replacement_kind=EventKind.DROPPED)
    probe.refresh_from_db()
    assert void.replacement.at == day(3) and void.replacement.corrects == void and not probe.withdrawn


def test_an_event_ahead_or_of_no_kind_is_refused(probe, cook):
    for kind, at in ((EventKind.DROPPED, timezone.now() + timedelta(hours=1)), ("lost", START)):
        with pytest.raises(ValidationError):
            event(probe, cook, kind, at)


def test_a_check_entered_days_later_is_late_and_cuts_where_it_was_made(probe, cook, clock):
    good(probe, cook, day(0))
    good(probe, cook, day(14))
    late = bad(probe, cook, day(7))
    assert entered_late(late) and standings(probe) == ["unproven", "quarantined", "quarantined", "pending"]
    assert not entered_late(good(probe, cook, timezone.now() - timedelta(minutes=5)))


def test_every_action_tells_the_trail_who_where_and_why(probe, cook, supervisor):
    check = good(probe, cook, START)
    actions.void_check(by=supervisor, check=check, reason="wrong probe")
    told = Entry.objects.order_by("pk").values_list("action", "actor", "site_id", "reason")
    assert list(told) == [
        ("check.record", "Col Esker", probe.site_id, ""),
        ("check.void", "Sol Venn", probe.site_id, "wrong probe"),
    ]


def test_an_error_is_rounded_to_the_nearest_and_its_uncertainty_upwards(probe, cook):
    shown = ["8.0", "0.1", "0.2", "0.1", "0.1", "0.2", "0.1"]
    check = zero(probe, cook, START, readings=[(10_000 * i, text, "C") for i, text in enumerate(shown)])
    assert check.error_milli == check.reading_milli == 133
    assert 0 <= check.expanded_milli - 1000 * check.budget["expanded"] < 1


def test_what_judges_a_check_is_loaded_before_others_wait_to_write(probe, cook, monkeypatch):
    depths, outside = [], len(connection.savepoint_ids)
    monkeypatch.setattr("compliance.metrology.uncertainty.load", lambda: depths.append(len(connection.savepoint_ids)))
    check = good(probe, cook, day(0))
    correct_zero(check, cook)
    assert depths == [outside, outside]
