"""A probe that shows no number has failed its check, without a figure: how far it was off, nobody can tell."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from compliance.advice.probe_history import Tried, tried
from compliance.advice.queries import pasts_of, tried_by_kind
from compliance.checks.actions import void_check
from compliance.checks.fitness import Fitness, fitness_of
from compliance.checks.models import Check, NoFigure, ProbeState, Span
from compliance.checks.queries import bracket_of
from compliance.metrology.assessment import bounds
from compliance.notices.models import Notice
from compliance.overview.tables import FailedTable
from compliance.overview.views import Failed
from compliance.quarantine.assessing import tallies
from compliance.quarantine.cases import load_case
from compliance.quarantine.queries import errors_in_words
from compliance.readings.queries import span_of
from tests.advice.making import history
from tests.checks import making
from tests.checks.hands import Hands
from tests.checks.making import day
from tests.conftest import NOON
from tests.world import make_reading

LOADED = Span.objects.select_related("probe", "behind", "ahead")
KEPT = ("verdict", "reading_milli", "error_milli", "expanded_milli", "no_figure")


@pytest.fixture
def used(world, clock):
    """Good on day 0, used on day 1; it is day 3."""
    clock.move_to(day(3))
    making.good(world.probe, world.cook, day(0))
    world.reading = make_reading(world.probe, world.limit, "3.0", day(1), by=world.cook)
    return world


@pytest.mark.parametrize("showed", NoFigure.values)
def test_it_has_failed_with_no_figure_and_says_what_it_showed(world, showed):
    check = making.dead(world.probe, world.cook, day(0), showed)
    assert [getattr(check, name) for name in KEPT] == ["out_of_tolerance", None, None, None, showed]
    assert check.why[0] == f"Out of tolerance: it gave no figure ({NoFigure(showed).label})."


def test_what_it_had_shown_before_is_kept_and_gives_no_figure(world):
    check = making.dead(world.probe, world.cook, day(0), readings=making.settled_at("0.1"))
    assert check.error_milli is None and check.timed_readings.count() == 6
    assert "components" not in check.budget and "conformity" not in check.budget


def test_only_what_can_be_shown_instead_of_a_number_is_taken(world):
    with pytest.raises(ValidationError, match="Say what it shows"):
        making.dead(world.probe, world.cook, day(0), "nonsense")
    with pytest.raises(ValidationError, match="at least one reading"):
        making.dead(world.probe, world.cook, day(0), "")


def test_what_was_read_since_its_last_good_check_is_in_quarantine_and_cannot_be_told(used):
    check = making.dead(used.probe, used.cook, day(2))
    span = span_of(used.reading)
    assert (span.standing, span.cause, span.ahead) == ("quarantined", "failed_ahead", check)
    case = load_case(f"check:{check.pk}")
    assert [(each.outcome, each.readings) for each in tallies(case.spans, (used.site.pk,))] == [("undecided", 1)]
    assert errors_in_words(case, "C") == [
        "On one side no check tells how far the probe was off, so its error is not bounded and nothing can be told."
    ]
    assert fitness_of([used.probe.pk], day(3))[used.probe.pk].state == Fitness.DO_NOT_USE


def test_it_asks_to_decide_and_is_told_at_once_as_any_failed_check(used):
    check = making.dead(used.probe, used.cook, day(2))
    assert ProbeState.objects.get(probe=used.probe).due_because.startswith("out of tolerance at its last check")
    told = Notice.objects.filter(kind="failed", facts=[check.pk])
    assert {notice.person for notice in told} == {used.manager, used.supervisor}
    assert "It gave no figure: an error sign such as Lo or Err." in told[0].text


def test_struck_out_what_was_read_waits_for_the_next_check_again(used):
    check = making.dead(used.probe, used.cook, day(2))
    void_check(by=used.supervisor, check=check, reason="Its battery was in the wrong way.")
    assert span_of(used.reading).standing == "pending"


def test_it_is_corrected_both_ways(used):
    check = making.dead(used.probe, used.cook, day(2))
    told = making.correct_zero(check, used.supervisor)
    assert (told.verdict, told.no_figure, span_of(used.reading).standing) == ("in_tolerance", "", "proven")
    again = making.correct_zero(told, used.supervisor, reason="It stood still.", readings=[], no_figure="stuck")
    assert (again.no_figure, span_of(used.reading).standing) == ("stuck", "quarantined")


@pytest.mark.parametrize("behind", [True, False], ids=["before", "after"])
def test_a_boiling_check_without_a_figure_leaves_its_side_unbounded(world, behind):
    probe, cook = world.probe, world.cook
    making.good(probe, cook, day(1))
    making.good(probe, cook, day(7))
    making.boiling(probe, cook, day(0.5) if behind else day(8), readings=[], no_figure="nothing")
    span = LOADED.get(probe=probe, ends_at=day(7))
    assert (span.standing, span.doubt.no_figure) == ("quarantined", "nothing")
    bracket = bracket_of(span)
    assert (bool(bracket.start), bool(bracket.end)) == (not behind, behind)
    assert bounds(bracket).at(0) is None


def test_drift_has_no_point_of_it_and_no_trial_reaches_across_it(world):
    now = timezone.now()
    history(world.probe, world.cook, [100, 150, 120, 130], every=5)
    making.dead(world.probe, world.cook, now - timedelta(days=8))
    (past,) = pasts_of([world.probe], now)
    assert [seen.error_milli for seen in past.seen] == [100, 150, 120, 130]
    assert tried(past) == [Tried(5.0, 2, 0)]
    fleet = tried_by_kind([world.probe], now)
    assert list(fleet.values()) in ([], [{world.probe.pk: [Tried(5.0, 2, 0)]}])


def test_the_list_of_an_area_says_what_it_showed(world):
    making.dead(world.probe, world.cook, day(2))
    world.probe.refresh_from_db()
    (row,) = FailedTable([Failed(world.probe, None)]).rows
    assert row.get_cell("error") == NoFigure.SIGN.label


# By hand


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def hands(request, as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, request.param)


@pytest.mark.parametrize("phase", ["prepare", "timing", "numbers"])
def test_the_check_is_finished_as_failed_wherever_it_stands(hands, phase):
    hands.tap("start", kind="packed_crushed")
    if phase != "prepare":
        hands.prepare("packed_crushed")
    if phase == "numbers":
        hands.settle("0.1")
    page = hands.look(go="").content.decode()
    assert 'name="no_figure" value="sign"' in page and "It shows no number" in page
    hands.wait(60)
    answer = hands.finish(no_figure="sign", note="A fresh battery, too.")
    check = Check.objects.get()
    assert answer.url.endswith(f"/{check.pk}/") and hands.finish(key=str(check.key), no_figure="sign").url == answer.url
    assert (check.no_figure, check.note, check.checked_at) == ("sign", "A fresh battery, too.", timezone.now())
    shown = hands.client.get(answer.url).content.decode()
    assert "it gave no figure (an error sign such as Lo or Err)" in shown and "Stop using" in shown


def test_the_form_of_a_correction_offers_it(as_person, supervisor, world, clock):
    clock.move_to(NOON)
    check = making.dead(world.probe, world.cook, NOON)
    client, url = as_person(supervisor), f"/checks/{check.pk}/correct/"
    form = client.get(url).context["form"]
    assert form["no_figure"].value() == "sign"
    given = {name: form[name].value() or "" for name in form.fields} | {
        "checked_at": "2026-03-11T12:00",
        "reason": "Typo.",
    }
    assert "at least one reading" in client.post(url, given | {"no_figure": ""}).content.decode()
    client.post(url, given | {"no_figure": "stuck"})
    assert Check.objects.live().get().no_figure == "stuck"
