"""A case that is open again says why: in its page, in lists and counts, and on paper; what was signed stays readable."""

from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.checks import actions as checks
from compliance.overview.queries import attention
from compliance.probes import actions as probes
from compliance.quarantine import actions
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import CaseState, Doubts, load_case, summaries, unsigned
from compliance.quarantine.models import Decision, Fate, Signature
from compliance.quarantine.reopening import reopened
from compliance.readings import actions as readings
from compliance.readings.models import Reading
from compliance.records.sections import cases, open_points, summary
from tests.checks.making import bad, boiling, correct_zero, day, event, good, zero
from tests.quarantine import making
from tests.quarantine.making import failed_after, undecided
from tests.records.making import scope_of, section, section_of, sections_of, take
from tests.remembered import remembered
from tests.world import make_limit, make_probe, make_reading

JANUARY = date(2026, 1, 1), date(2026, 1, 31)
CASES = "Cases of quarantine and decisions"
AGAIN = "the reading measured again has come into doubt itself"


@pytest.fixture
def anchor(world):
    """Two readings of soup, one let stand and one measured again; signed."""
    return remembered(signed, world)


@pytest.fixture
def again(anchor):
    return Reading.objects.get(probe__code="P2")


@pytest.fixture
def other(again):
    return again.probe


def signed(world) -> str:
    again = measured_again(world)
    anchor = failed_after(world, "4.0", "5.4")
    decide(world, anchor, Fate.STANDS, "held")
    decide(world, anchor, Fate.MEASURED_AGAIN, good_reading=again)
    actions.sign(by=world.supervisor, anchor=anchor)
    return anchor


def measured_again(world):
    other = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    good(other, world.cook, day(8))
    return take(world, "3.9", day(10), probe=other)


def decide(world, anchor, fate, outcome="", **given):
    case = load_case(anchor)
    making.decide(by=world.manager, case=case, selection=undecided(case, outcome), fate=fate, **given)


def strike(world, check, reason="Salted."):
    checks.void_check(by=world.supervisor, check=check, reason=reason)


def behind(world):
    return world.probe.checks.earliest("checked_at")


def page(client, anchor, **query) -> str:
    address = reverse("case_detail", args=[anchor.replace(":", "-")])
    return client.get(address, query).content.decode().replace("&#x27;", "'")


def changes_of(world, anchor) -> str:
    """What the page of a case says of why it is open again."""
    return " ".join(reopened(load_case(anchor), world.site.zone).lines)


def test_the_page_says_who_had_signed_and_what_has_changed_since(as_person, world, anchor, other):
    client = as_person(world.manager)
    assert "closed case" in page(client, anchor) and "no longer stands" not in page(client, anchor)
    bad(other, world.cook, day(11))
    text = page(client, anchor)
    assert "Signed by Sol Venn on" in text and "; open again" in text
    assert (
        "1 reading must be decided again: the reading measured again (Soup 3.9 °C, probe P2, 15 Jan 2026 09:00 GMT) has come"
        in text
    )
    assert "its probe failed the next check." in text
    assert f"Decide again: {AGAIN}." in text and "Measured again with a probe in tolerance" in text
    assert "This signature no longer stands" in text and "in quarantine" in text


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda w, r: readings.void(by=w.cook, reading=r, reason="Wrong fridge"), "was struck out on"),
        (
            lambda w, r: checks.void_check(by=w.supervisor, check=r.probe.checks.get(), reason="Salted."),
            "no good check vouches",
        ),
        (lambda w, r: strike(w, behind(w)), "“the limit held” when it was decided, “cannot be told” now. The check of"),
        (lambda w, r: strike(w, behind(w)), "The check of 5 Jan 2026 09:00 GMT was struck out on"),
        (
            lambda w, r: make_reading(w.probe, w.limit, "4.1", day(3), by=w.cook),
            "1 reading came into the case since and",
        ),
        (lambda w, r: zero(w.probe, w.cook, day(0.2), "-0.9"), "The check of 5 Jan 2026 13:48 GMT counts now, entered"),
        (lambda w, r: bad(w.probe, w.cook, day(0.2)), "It was signed as another case"),
    ],
)
def test_each_kind_of_change_is_named(world, anchor, again, act, words):
    act(world, again)
    (line,) = [line for line in summaries([world.site.pk]) if line.probe_id == world.probe.pk]
    assert words in changes_of(world, line.anchor)


def test_it_counts_everywhere_until_it_is_decided_and_signed_again(as_person, world, anchor, other):
    sites, client = [world.site.pk], as_person(world.manager)
    assert (unsigned(Doubts(sites)), attention([world.site], day(300))[0].in_doubt) == (0, 0)
    bad(other, world.cook, day(11))
    anchors = {line.anchor: line for line in summaries(sites)}
    assert (anchors[anchor].state, anchors[anchor].undecided, anchors[anchor].reopened) == (CaseState.OPEN, 1, True)
    # Its own readings are in doubt as well.
    assert unsigned(Doubts(sites)) == 2 and attention([world.site], day(300))[0].in_doubt == 2
    assert "signed before, open again" in client.get(reverse("case_list")).content.decode()
    assert "1 reading to decide on" in client.get(reverse("today_site", args=[world.site.pk])).content.decode()
    with pytest.raises(Exception, match="1 reading is still to be decided on"):
        actions.sign(by=world.supervisor, anchor=anchor)
    decide(world, anchor, Fate.DISCARDED, why="Binned.")
    assert "signed before, to sign again" in client.get(reverse("case_list")).content.decode()
    actions.sign(by=world.supervisor, anchor=anchor)
    assert load_case(anchor).state == CaseState.SIGNED and Signature.objects.count() == 2
    assert page(client, anchor).count("This signature no longer stands") == 1


def test_a_ground_that_holds_again_needs_no_new_decision(world, anchor, other):
    failed = bad(other, world.cook, day(11))
    assert load_case(anchor).state == CaseState.OPEN
    strike(world, failed)
    assert load_case(anchor).state == CaseState.SIGNED and not Decision.objects.filter(replaces__isnull=False).exists()


def test_what_does_not_matter_opens_nothing(world, anchor, other):
    good(other, world.cook, day(12))
    good(world.probe, world.cook, day(12))
    boiling(world.probe, world.cook, day(13))
    strike(world, good(world.probe, world.cook, day(14)))
    assert load_case(anchor).state == CaseState.SIGNED and unsigned(Doubts([world.site.pk])) == 0


def test_a_better_outcome_opens_nothing(world):
    anchor = failed_after(world, "5.4")
    decide(world, anchor, Fate.EATEN, risk="Hardly any.", told="Nobody needed.")
    actions.sign(by=world.supervisor, anchor=anchor)
    boiling(world.probe, world.cook, day(0.1), "98.3")
    assert load_case(anchor).state == CaseState.SIGNED


def test_an_outcome_that_got_graver_opens_it_for_food_that_was_eaten_and_not_for_food_that_is_gone(world):
    anchor = failed_after(world, "4.0", "4.1")
    eaten, gone = world.probe.readings.order_by("taken_at")
    for reading, fate in ((eaten, Fate.EATEN), (gone, Fate.DISCARDED)):
        which = Selection((world.site.pk,), ids=(reading.pk,))
        words = {"why": "As said.", "risk": "Low: it was held.", "told": "Nobody needed."}
        making.decide(by=world.manager, case=load_case(anchor), selection=which, fate=fate, **words)
    strike(world, behind(world))
    case = load_case(anchor)
    assert (case.undecided, case.lost, case.fates) == (1, 1, {"discarded": 1})


def at_boiling_beside(world, probe):
    boiling(probe, world.cook, day(-1), "98.1")


def nothing(world, probe):
    pass


def another_sensor(world, probe, **given):
    probes.amend(by=world.manager, probe=probe, changes={"sensor": "unknown"}, reason="The maker says so.", **given)


@pytest.mark.parametrize(
    ("before", "typed", "happens"),
    [
        (nothing, "63.6", lambda w, p: boiling(p, w.cook, day(0.1), "99.1")),
        (at_boiling_beside, "63.3", lambda w, p: strike(w, p.checks.get(kind="boiling"))),
        (at_boiling_beside, "63.3", lambda w, p: event(p, w.cook, "adjusted", day(-0.5))),
        (nothing, "63.5", lambda w, p: another_sensor(w, p, corrects=True)),
    ],
    ids=[
        "a boiling check is entered",
        "a boiling check is struck out",
        "an adjustment is entered",
        "it had another sensor",
    ],
)
def test_what_lies_beside_the_two_checks_opens_it_too(world, before, typed, happens):
    """At 63 °C a boiling check that belongs to the check at zero, or none, makes the difference of 0.3 °C."""
    hot = make_limit(world.site, by=world.manager, code="hot-holding", direction="at_least", value="63")
    before(world, world.probe)
    good(world.probe, world.cook, day(0))
    make_reading(world.probe, hot, typed, day(1), by=world.cook)
    anchor = f"check:{zero(world.probe, world.cook, day(9), '-2.4').pk}"
    decide(world, anchor, Fate.STANDS)
    actions.sign(by=world.supervisor, anchor=anchor)
    assert [line.state for line in summaries([world.site.pk])] == [CaseState.SIGNED]
    happens(world, world.probe)
    assert [(line.state, line.undecided) for line in summaries([world.site.pk])] == [(CaseState.OPEN, 1)]
    assert load_case(anchor).lost == 1
    assert "has changed since" in changes_of(world, anchor)


def let_stand(world):
    hot = make_limit(world.site, by=world.manager, code="hot-holding", direction="at_least", value="63")
    good(world.probe, world.cook, day(0))
    make_reading(world.probe, hot, "63.5", day(1), by=world.cook)
    decide(world, f"check:{zero(world.probe, world.cook, day(9), '-2.4').pk}", Fate.STANDS)


def left(world):
    return [line.undecided for line in summaries([world.site.pk])]


def test_another_sensor_from_now_on_opens_nothing_that_was_measured_with_the_one_before(world):
    let_stand(world)
    another_sensor(world, world.probe)
    assert left(world) == [0]


def test_what_a_correction_opened_stays_open_when_the_probe_gets_such_a_sensor_as_it_was_thought_to_have(world):
    let_stand(world)
    another_sensor(world, world.probe, corrects=True)
    assert left(world) == [1]
    probes.amend(by=world.manager, probe=world.probe, changes={"sensor": "thermistor"})
    assert left(world) == [1]


def test_another_site_of_the_case_keeps_it_from_being_signed_for_all(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, Fate.DISCARDED, why="Binned.")
    actions.sign(by=world.supervisor, anchor=anchor)
    make_reading(world.probe, world.limit, "4.4", day(3), by=world.cook, site=world.other_site)
    (line,) = summaries([world.site.pk])
    assert (line.undecided, line.state, line.reopened) == (0, CaseState.TO_SIGN, True)
    assert load_case(anchor).state == CaseState.OPEN


def test_two_cases_that_become_one_are_not_signed_by_the_signature_of_the_first(world):
    first = failed_after(world, "4.0")
    between = good(world.probe, world.cook, day(12))
    make_reading(world.probe, world.limit, "4.0", day(13), by=world.cook)
    second = f"check:{bad(world.probe, world.cook, day(14)).pk}"
    for anchor in (second, first):
        decide(world, anchor, Fate.DISCARDED, why="Binned.")
        actions.sign(by=world.supervisor, anchor=anchor)
    strike(world, between)
    (line,) = summaries([world.site.pk])
    assert (line.anchor, line.state, load_case(first).state) == (first, CaseState.TO_SIGN, CaseState.TO_SIGN)


def test_a_failed_check_that_is_corrected_leaves_the_old_signature_readable(as_person, world):
    """The case begins with another check then, and asks for another signature."""
    anchor = failed_after(world, "4.0")
    decide(world, anchor, Fate.STANDS)
    actions.sign(by=world.supervisor, anchor=anchor)
    old = world.probe.checks.get(verdict="out_of_tolerance")
    correct_zero(old, world.supervisor, "2.5")
    (line,) = summaries([world.site.pk])
    assert (line.state, line.reopened) == (CaseState.TO_SIGN, True)
    text = page(as_person(world.supervisor), line.anchor)
    assert "; to be signed again" in text and "Sign as Sol Venn" in text and "This signature no longer stands" in text
    told = section_of(world.site, CASES, *JANUARY)
    assert "no longer stands" in told and "Reviewed: every reading" in told
    actions.sign(by=world.supervisor, anchor=line.anchor)
    assert load_case(line.anchor).state == CaseState.SIGNED


def test_the_signature_of_a_case_without_an_end_speaks_of_no_later_case(world):
    anchor = failed_after(world, "4.0")
    decide(world, anchor, Fate.DISCARDED, why="Binned.")
    actions.sign(by=world.supervisor, anchor=anchor)
    now = timezone.now()
    good(world.probe, world.cook, now)
    with time_machine.travel(now + timedelta(days=3)):
        make_reading(world.probe, world.limit, "4.0", now + timedelta(days=1), by=world.cook)
        bad(world.probe, world.cook, now + timedelta(days=2))
        assert [(line.state, line.reopened) for line in summaries([world.site.pk])] == [
            (CaseState.OPEN, False),
            (CaseState.SIGNED, False),
        ]


def test_decisions_of_before_are_held_against_what_is_so_now(world):
    """They kept nothing but the outcome: what can be said is worked out anew, so nothing opens by itself."""
    again = measured_again(world)
    anchor = failed_after(world, "4.0", "5.4")
    for reading, fate, outcome in zip(
        world.probe.readings.order_by("taken_at"), ("stands", "measured_again"), ("held", "undecided"), strict=True
    ):
        decided_before(world, anchor, reading, fate, outcome, again if fate == "measured_again" else None)
    actions.sign(by=world.supervisor, anchor=anchor)
    assert load_case(anchor).state == CaseState.SIGNED and unsigned(Doubts([world.site.pk])) == 0
    bad(again.probe, world.cook, day(11))
    strike(world, behind(world))
    assert load_case(anchor).lost == 2
    assert [line.undecided for line in summaries([world.site.pk]) if line.anchor == anchor] == [2]


def decided_before(world, anchor, reading, fate, outcome, good_reading):
    """As a decision was stored before it kept what it rested on."""
    return Decision.objects.create(
        reading=reading,
        probe=reading.probe,
        case=anchor,
        fate=fate,
        outcome=outcome,
        why="As said.",
        good_reading=good_reading,
        decided_by=world.manager,
        recorded_by=world.manager,
    )


def test_a_custard_that_released_a_fridge_before_opens_the_case_again(world):
    """Written as it could be once: an earlier reading of another food was accepted."""
    again = measured_again(world)
    anchor = failed_after(world, "5.4")
    custard = take(world, "3.9", day(0.2), probe=again.probe, item="Custard")
    good(again.probe, world.cook, day(0.1))
    decided_before(world, anchor, world.probe.readings.get(), "measured_again", "undecided", custard)
    assert load_case(anchor).lost == 1
    (line,) = summaries([world.site.pk])
    assert line.undecided == 1


def test_the_number_of_queries_does_not_grow_with_cases_that_are_open_again(world, anchor):
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert {line.state for line in summaries([world.site.pk])} == {CaseState.OPEN}
        return len(asked)

    strike(world, behind(world))
    few = queries()
    for number in range(3):
        probe = make_probe(world.site, f"Q{number}", by=world.manager, limits=[world.limit])
        another = failed_after(world, "4.0", "3.9", probe=probe)
        decide(world, another, Fate.STANDS)
        actions.sign(by=world.supervisor, anchor=another)
        strike(world, probe.checks.earliest("checked_at"))
    assert queries() == few


def test_paper_says_the_same(world, anchor, other):
    bad(other, world.cook, day(11))
    told = section_of(world.site, CASES, *JANUARY)
    for words in (
        "State readings are still to be decided on Signed by Sol Venn on",
        "; open again 1 reading must be decided again",
        "To be decided again: the reading measured again has come into doubt itself. Hold this food and do not serve it.",
        "Its standing when this was decided: pending.",
        "Reviewed: every reading of this",
        "no longer stands.",
    ):
        assert words in told


def test_paper_counts_it_as_open(world, anchor, other):
    shown = summary, open_points, cases
    before = sections_of(scope_of(world.site, *JANUARY), *shown)
    assert "1 case: 1 signed" in section(before, "Summary") and "no longer stands" not in before
    bad(other, world.cook, day(11))
    after = sections_of(scope_of(world.site, *JANUARY), *shown)
    assert "1 signed" not in section(after, "Summary")
    assert "1 reading here still to decide on: hold the food. Signed by Sol Venn on" in section(
        after, "Open points at printing"
    )


def test_a_case_whose_only_reading_was_taken_out_stays_in_the_lists_and_is_signed(as_person, world):
    anchor, sites = failed_after(world, "4.0"), [world.site.pk]
    with time_machine.travel(timezone.now() + timedelta(days=1)):
        readings.void(by=world.supervisor, reading=world.probe.readings.get(), reason="Wrong fridge")
    (line,) = summaries(sites)
    assert (line.state, line.readings, line.undecided, unsigned(Doubts(sites))) == (CaseState.TO_SIGN, 0, 0, 1)
    text = page(as_person(world.supervisor), anchor)
    assert "Taken out: struck out, and nothing stands in its place" in text and "Sign as Sol Venn" in text
    with time_machine.travel(timezone.now() + timedelta(days=2)):
        actions.sign(by=world.supervisor, anchor=anchor)
    (line,) = summaries(sites)
    assert line.state == load_case(anchor).state == CaseState.SIGNED and "myself" not in Signature.objects.get().meaning


def test_a_reading_that_was_struck_out_before_the_check_was_entered_makes_no_case(world):
    good(world.probe, world.cook, day(0))
    reading = make_reading(world.probe, world.limit, "4.0", day(1), by=world.cook)
    readings.void(by=world.cook, reading=reading, reason="Entered twice")
    with time_machine.travel(timezone.now() + timedelta(minutes=1)):
        bad(world.probe, world.cook, day(9))
    assert summaries([world.site.pk]) == []
