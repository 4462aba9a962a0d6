"""Taking probes into the book, amending what is known of them, moving them."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from compliance.probes import actions
from compliance.probes.models import Placement, Probe
from compliance.probes.queries import latest_placement
from shared.audit.models import Entry
from tests.world import make_limit


def now():
    return timezone.now()


def test_a_probe_comes_into_the_book_with_its_placement(world):
    begins = now() - timedelta(days=2)
    probe = actions.register(
        by=world.manager, site=world.site, code=" K-07 ", limits=[world.limit], starts_at=begins, tolerance_milli=500
    )
    assert (probe.code, probe.business, probe.tolerance_milli) == ("K-07", world.business, 500)
    assert list(probe.limits.all()) == [world.limit]
    placement = probe.placements.get()
    assert (placement.site, placement.starts_at, placement.recorded_by) == (world.site, begins, world.manager)
    assert Entry.objects.get(action="probe.register").site_id == world.site.pk


def test_a_code_is_used_once_a_business_and_the_complaint_says_where_it_is(world):
    with pytest.raises(ValidationError, match="P1 at Alder School"):
        actions.register(by=world.supervisor, site=world.other_site, code="P1")
    actions.register(by=world.stranger, site=world.foreign_site, code="P1")


@pytest.mark.parametrize(
    "wrong, complaint",
    [
        ({"lowest_milli": 5_000}, "able to show 0 °C"),
        ({"lowest_milli": 10_000, "highest_milli": 10_000}, "must end above"),
        ({"tolerance_milli": 0}, "greater than or equal to 1"),
        ({"code": " "}, "cannot be blank"),
        ({"sensor": "guess"}, "not a valid choice"),
    ],
)
def test_a_probe_that_cannot_be_is_refused_whole(world, wrong, complaint):
    with pytest.raises(ValidationError, match=complaint):
        actions.register(**{"by": world.manager, "site": world.site, "code": "K-07", **wrong})
    assert Probe.objects.filter(business=world.business).count() == 1


def test_a_probe_is_not_placed_in_the_future(world):
    with pytest.raises(ValidationError, match="has not come yet"):
        actions.register(by=world.manager, site=world.site, code="K-07", starts_at=now() + timedelta(hours=1))


def test_a_probe_serves_limits_of_its_own_site(world):
    foreign = make_limit(world.other_site, by=world.supervisor)
    with pytest.raises(ValidationError, match="limits of Alder School"):
        actions.register(by=world.manager, site=world.site, code="K-07", limits=[foreign])
    with pytest.raises(ValidationError, match="limits of Alder School"):
        actions.amend(by=world.manager, probe=world.probe, changes={"limits": [foreign]})


def test_amending_undoes_nothing_that_somebody_else_did_meanwhile(world):
    opened = Probe.objects.get(pk=world.probe.pk)
    actions.move(by=world.supervisor, probe=world.probe, site=world.other_site, starts_at=now(), reason="lent")
    actions.amend(by=world.manager, probe=opened, changes={"maker": "House"})
    kept = Probe.objects.get(pk=world.probe.pk)
    assert (kept.site, kept.maker) == (world.other_site, "House")


def test_what_was_amended_is_told_old_and_new(world):
    soup = make_limit(world.site, by=world.manager, code="soup")
    actions.amend(by=world.manager, probe=world.probe, changes={"description": "blue handle", "limits": [soup]})
    assert Entry.objects.get(action="probe.amend").data["changes"] == {
        "description": ["", "blue handle"],
        "limits": [["cold-holding"], ["soup"]],
    }


def test_allowing_the_probe_more_needs_a_reason(world):
    wider = {"tolerance_milli": 1001}
    with pytest.raises(ValidationError, match="Say why"):
        actions.amend(by=world.manager, probe=world.probe, changes=wider)
    actions.amend(by=world.manager, probe=world.probe, changes=wider, reason="As its maker says.")
    assert Entry.objects.get(action="probe.amend").reason == "As its maker says."


def test_allowing_it_less_needs_none(world):
    actions.amend(by=world.manager, probe=world.probe, changes={"tolerance_milli": 500})
    world.probe.refresh_from_db()
    assert world.probe.tolerance_milli == 500


@pytest.mark.parametrize("field", ["site", "withdrawn", "business"])
def test_what_has_an_action_of_its_own_is_not_amended(world, field):
    with pytest.raises(TypeError, match=field):
        actions.amend(by=world.manager, probe=world.probe, changes={field: None})


def placement_at(probe, at):
    return probe.placements.filter(starts_at__lte=at).latest("starts_at", "pk")


def moved(world, **given):
    fields = {"site": world.other_site, "starts_at": now(), "reason": "Lent for the summer."}
    return actions.move(by=world.manager, probe=world.probe, **{**fields, **given})


def test_a_moved_probe_is_where_its_latest_placement_says(world):
    before = now()
    moved(world)
    world.probe.refresh_from_db()
    assert world.probe.site == world.other_site
    assert placement_at(world.probe, before - timedelta(minutes=1)).site == world.site
    assert placement_at(world.probe, now()).site == world.other_site


def test_a_move_is_in_the_trail_of_both_sites(world):
    moved(world)
    told = Entry.objects.filter(action="probe.move")
    assert {e.site_id for e in told} == {world.site.pk, world.other_site.pk}


def test_a_move_entered_late_does_not_call_the_probe_back(world):
    moved(world, starts_at=now() - timedelta(days=1))
    third = world.far_site
    moved(world, site=third, starts_at=now() - timedelta(days=3), reason="Was there for a day, entered late.")
    world.probe.refresh_from_db()
    assert world.probe.site == world.other_site
    assert placement_at(world.probe, now() - timedelta(days=2)).site == third


def test_of_two_moves_at_one_time_the_last_entered_counts(world):
    at = now() - timedelta(hours=1)
    moved(world, starts_at=at)
    moved(world, starts_at=at, site=world.far_site, reason="Wrong site entered before.")
    assert latest_placement(world.probe).site == world.far_site
    world.probe.refresh_from_db()
    assert world.probe.site == world.far_site


def test_a_moved_probe_serves_the_limits_there_that_answer_to_its_old_ones(world):
    same = make_limit(world.other_site, by=world.supervisor, code="cold-holding")
    make_limit(world.other_site, by=world.supervisor, code="soup")
    moved(world)
    assert list(world.probe.limits.all()) == [same]


@pytest.mark.parametrize(
    "wrong, complaint",
    [
        ({"reason": " "}, "Say why"),
        ({"starts_at": "tomorrow"}, "not come yet"),
        ({"starts_at": "before"}, "came into the book after"),
        ({"site": "foreign_site"}, "stays with its business"),
    ],
)
def test_a_move_that_cannot_be_is_refused(world, wrong, complaint):
    times = {"tomorrow": now() + timedelta(days=1), "before": Placement.objects.get(probe=world.probe).starts_at}
    given = {n: times.get(v) or getattr(world, str(v), v) for n, v in wrong.items()}
    with pytest.raises(ValidationError, match=complaint):
        moved(world, **given)
    assert world.probe.placements.count() == 1


def test_no_probe_is_moved_to_a_closed_site(world):
    world.other_site.closed = True
    world.other_site.save()
    with pytest.raises(ValidationError, match="closed"):
        moved(world)
