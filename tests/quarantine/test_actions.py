"""Deciding and signing: nothing is released by default, nothing decided is lost."""

import pytest
from django.core.exceptions import ValidationError

from compliance.checks import actions as checks
from compliance.metrology.vocabulary import Outcome
from compliance.quarantine import actions
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import CaseState, load_case, summaries
from compliance.quarantine.models import Decision, Fate, Signature
from compliance.readings import actions as readings
from shared.audit.models import Entry
from tests.checks.making import bad, day, good
from tests.quarantine import making
from tests.quarantine.making import anchor_check, failed_after, undecided
from tests.world import make_probe, make_reading

EATEN = {"fate": Fate.EATEN, "why": "Served.", "risk": "Low: eaten hot.", "told": "The supervisor."}
DISCARDED = {"fate": Fate.DISCARDED, "why": "Two trays thrown away."}


def decide(world, anchor, selection=None, **given):
    case = load_case(anchor)
    return making.decide(by=world.manager, case=case, selection=selection or undecided(case), **given)


def test_a_failed_check_needs_no_further_step_to_put_its_readings_in_a_case(world):
    anchor = failed_after(world, "4.0", "3.0")
    case = load_case(anchor)
    assert (case.readings, case.undecided, case.state) == (2, 2, CaseState.OPEN)


def test_a_probe_reading_high_has_chill_readings_whose_limit_held_whatever_the_error(world):
    # It reads up to 2.4 °C too warm, so the food was colder than shown; 4.0 at most 5: held. 9.0: broken whatever.
    anchor = failed_after(world, "4.0", "9.0", "5.4")
    case = load_case(anchor)
    assert [case.count(o) for o in (Outcome.HELD, Outcome.BROKEN, Outcome.UNDECIDED)] == [1, 1, 1]


def test_one_decision_for_all_in_a_list_decides_each_once(world):
    anchor = failed_after(world, "4.0", "3.0", "9.0")
    assert decide(world, anchor, **DISCARDED) == 3
    assert Decision.objects.count() == 3
    assert load_case(anchor).state == CaseState.TO_SIGN


def test_deciding_again_replaces_and_keeps_the_earlier_decision(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, **DISCARDED)
    decide(world, anchor, Selection(sites=(world.site.pk,), undecided=None), **EATEN)
    first, second = Decision.objects.order_by("pk")
    assert second.replaces == first
    assert load_case(anchor).fates == {"eaten": 1}


def test_stands_is_refused_unless_the_limit_held_whatever_the_error(world):
    anchor = failed_after(world, "4.0", "9.0")
    with pytest.raises(ValidationError, match="may not have held"):
        decide(world, anchor, fate=Fate.STANDS)
    assert not Decision.objects.exists()
    assert decide(world, anchor, undecided(load_case(anchor), Outcome.HELD), fate=Fate.STANDS) == 1


@pytest.mark.parametrize(
    "given",
    [
        EATEN | {"risk": ""},
        EATEN | {"told": " "},
        {"fate": Fate.RELEASED},
        {"fate": Fate.DISCARDED},
        {"fate": Fate.REWORKED},
        {"fate": Fate.MEASURED_AGAIN},
        {"fate": "forgotten"},
    ],
)
def test_a_decision_that_lacks_what_it_needs_decides_nothing(world, given):
    anchor = failed_after(world, "4.0")
    with pytest.raises(ValidationError):
        decide(world, anchor, **given)
    assert not Decision.objects.exists()


def test_measured_again_names_a_reading_by_a_probe_in_tolerance(world):
    anchor = failed_after(world, "4.0")
    other = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    doubtful = make_reading(other, world.limit, "3.9", day(8), by=world.cook)
    with pytest.raises(ValidationError, match="itself in doubt"):
        decide(world, anchor, fate=Fate.MEASURED_AGAIN, good_reading=doubtful)
    good(other, world.cook, day(7))
    assert decide(world, anchor, fate=Fate.MEASURED_AGAIN, good_reading=doubtful) == 1


def test_only_readings_of_the_chosen_sites_are_decided_on(world):
    anchor = failed_after(world, "4.0")
    make_reading(world.probe, world.limit, "4.1", day(2), by=world.cook, site=world.other_site)
    assert decide(world, anchor, Selection(sites=(world.site.pk,), undecided=True), **DISCARDED) == 1
    assert load_case(anchor).undecided_at([world.other_site.pk]) == 1


def test_deciding_on_nothing_is_said(world):
    anchor = failed_after(world, "4.0")
    with pytest.raises(ValidationError, match="No reading was chosen"):
        decide(world, anchor, Selection(sites=(world.other_site.pk,)), **DISCARDED)


def test_the_trail_says_who_decided_what_at_each_site(world):
    anchor = failed_after(world, "4.0", "3.0")
    decide(world, anchor, **DISCARDED)
    entry = Entry.objects.get(action="case.decide")
    assert (entry.actor, entry.site_id, entry.data["readings"]) == ("Mara Holt", world.site.pk, 2)


def test_a_case_is_signed_only_when_nothing_is_left(world):
    anchor = failed_after(world, "4.0")
    with pytest.raises(ValidationError, match="still to be decided"):
        actions.sign(by=world.supervisor, anchor=anchor)
    decide(world, anchor, **DISCARDED)
    signature = actions.sign(by=world.supervisor, anchor=anchor, note_text="Seen.")
    assert (signature.signed_name, signature.readings, signature.counts) == ("Sol Venn", 1, {"discarded": 1})
    assert load_case(anchor).state == CaseState.SIGNED


def test_signing_twice_is_refused(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, **DISCARDED)
    actions.sign(by=world.supervisor, anchor=anchor)
    with pytest.raises(ValidationError, match="signed this case already"):
        actions.sign(by=world.supervisor, anchor=anchor)


def test_a_reading_that_arrives_late_opens_a_signed_case_again(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, **DISCARDED)
    actions.sign(by=world.supervisor, anchor=anchor)
    make_reading(world.probe, world.limit, "4.4", day(3), by=world.cook)
    case = load_case(anchor)
    assert (case.state, case.undecided, case.signature) == (CaseState.OPEN, 1, None)
    assert summaries([world.site.pk])[0].state == CaseState.OPEN


def test_a_decision_changed_after_the_signature_asks_for_another(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, **DISCARDED)
    actions.sign(by=world.supervisor, anchor=anchor)
    decide(world, anchor, Selection(sites=(world.site.pk,)), **EATEN)
    assert load_case(anchor).state == CaseState.TO_SIGN
    assert summaries([world.site.pk])[0].state == CaseState.TO_SIGN
    actions.sign(by=world.supervisor, anchor=anchor)
    assert Signature.objects.count() == 2


def test_voiding_the_failed_check_ends_the_case_and_keeps_its_decisions(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, **DISCARDED)
    checks.void_check(by=world.supervisor, check=anchor_check(anchor), reason="No ice was left in the bath.")
    assert load_case(anchor) is None
    assert summaries([world.site.pk]) == []
    assert Decision.objects.count() == 1


def test_a_void_reading_is_no_longer_to_be_decided_on(world):
    anchor = failed_after(world, "4.0", "4.2")
    readings.void(by=world.supervisor, reading=world.probe.readings.first(), reason="Wrong fridge.")
    assert load_case(anchor).undecided == 1
    assert summaries([world.site.pk])[0].undecided == 1


def test_both_sides_of_a_failed_check_are_one_case(world):
    anchor = failed_after(world, "4.0")
    make_reading(world.probe, world.limit, "4.5", day(10), by=world.cook)
    good(world.probe, world.cook, day(11))
    assert load_case(anchor).readings == 2
    assert load_case(anchor).ends_at == day(11)


def test_a_second_failure_before_a_good_check_stays_in_the_same_case(world):
    anchor = failed_after(world, "4.0")
    bad(world.probe, world.cook, day(12))
    make_reading(world.probe, world.limit, "4.5", day(11), by=world.cook)
    assert load_case(anchor).readings == 2
    assert len(summaries([world.site.pk])) == 1
