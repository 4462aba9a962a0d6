"""What a dishonest hand can do, and must not: each is refused with a plain sentence, or leaves its mark in the printed record.

Through the pages, as whoever would do it. Sixteen manipulations:

 1. loosen a limit, or give it up, for days that are over
 2. loosen a limit this minute for food that has been measured already
 3. date a change of a limit back
 4. put a figure of one's own under the name of a rule
 5. date a plan, a round, hours of work or a closure back
 6. widen the tolerance of a probe that failed, and call it otherwise
 7. set the site's name and clock and the rule of judging anew over what was printed
 8. give a reading in quarantine another probe or time, or strike it out, as cook or manager
 9. do so as supervisor, when the case is signed
10. withdraw a probe from a day before its check was overdue
11. move a probe away from a time at which it was used
12. give “.” or “x” for a reason, or one word for all of them           (test_dishonest_times.py, as the next)
13. enter as of an earlier hour, or under another name
14. type the readings of a day in one minute
15. strike out what was excused, closed or told of a probe
16. bring in a file of which rows were left out
"""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from compliance.limits.models import LimitVersion, Rule, RuleSet
from compliance.plans.models import CheckPlan, Closure, Opening, Round
from compliance.probes.models import Probe
from compliance.quarantine.actions import sign
from compliance.readings.models import Deviation, Reading
from compliance.records.sections import cases, changes, days, events, open_points, plan, probes, reminders
from sites.actions import grant
from sites.models import Role
from tests.checks import making
from tests.records.hands import paper, send, text_of
from tests.records.making import at, decide, take
from tests.remembered import remembered
from tests.reminders.making import ready
from tests.world import make_probe

WHY = "The authority agreed to it."


@pytest.fixture
def today(clock):
    """Noon of 11 March 2026."""
    clock.move_to(at(11, 12))
    return clock


def test_a_limit_is_neither_loosened_nor_given_up_for_days_that_are_over(world, today, as_person):
    client = as_person(world.manager)
    for page, typed in (("limit_change", {"value": "8"}), ("limit_retire", {})):
        told = send(client, page, world.limit.pk, effective_from="2026-03-10T08:00", **typed | {"reason": WHY})
        assert "a limit is loosened or retired from now on" in told
    assert LimitVersion.objects.count() == 1


def test_a_limit_loosened_this_minute_lets_nothing_in_that_was_measured_before(world, today, as_person):
    page = world.limit.pk
    send(as_person(world.manager), "limit_change", page, effective_from="2026-03-11T11:56", value="8", reason=WHY)
    today.shift(timedelta(minutes=1))
    take(world, "6.5", at(11, 11, 58))
    assert "6.5 °C is above the limit" in Deviation.objects.get().why
    told = paper(world, plan)
    assert "Changed in the period, from 11 Mar 2026 12:00." in told and WHY in told


def test_a_limit_that_is_dated_back_is_printed_as_a_correction_with_what_held_before(world, today, as_person):
    page = world.limit.pk
    send(as_person(world.manager), "limit_change", page, effective_from="2026-03-05T08:00", value="4", reason=WHY)
    told = paper(world, plan)
    assert "from 1 Jan 2020 until 5 Mar 2026" in told and "from 5 Mar 2026" in told
    assert "A correction, entered on 11 Mar 2026 12:00; it holds from 5 Mar 2026 08:00." in told
    assert f"Set by Mara Holt (MH), 11 Mar 2026 12:00: {WHY}" in told


def make_rule() -> Rule:
    told = {"jurisdiction": "Everywhere", "edition": "2024", "source": "The code"}
    rules = RuleSet.objects.create(code="the-code", title="The code", **told)
    figures = {
        "direction": "at_most",
        "value": Decimal(5),
        "unit": "C",
        "value_milli": 5000,
        "usual_action": "Chill it.",
    }
    return Rule.objects.create(
        rule_set=rules,
        code="chilled",
        step="Chilled",
        title="Chilled",
        hazard="growth",
        source="3.1",
        origin="seen",
        **figures,
    )


def test_a_figure_of_ones_own_is_printed_as_the_sites_own_beside_what_the_rule_says(world, today, as_person):
    rule, client = make_rule(), as_person(world.manager)
    typed = {"value": "9", "effective_from": "2026-03-02T08:00"}
    assert "This is looser than its rule" in send(client, "limit_adopt_rule", world.site.pk, rule.pk, **typed)
    send(client, "limit_adopt_rule", world.site.pk, rule.pk, reason=WHY, **typed)
    told = paper(world, plan)
    assert (
        "at most 9 °C" in told
        and "The site's own, looser than the rule, which asks for at most 5 °C: 3.1, 2024." in told
    )
    assert "Entered on 11 Mar 2026 12:00; it holds from 2 Mar 2026 08:00." in told and WHY in told
    assert "The site's own. Its source, as the site gave it: House rule." in told


def test_no_plan_round_hours_or_closure_begins_before_it_is_recorded(world, today, as_person):
    client, over = as_person(world.manager), "Days that are over stay as they were."
    since = {"effective_from": "2026-03-10", "reason": WHY}
    site = world.site.pk
    assert over in send(client, "plan_probe", world.probe.pk, every_days="90", **since)
    assert over in send(client, "plan_site", site, every_days="90", **since)
    assert over in send(client, "round_change", world.limit.pk, times="08:00", **since)
    assert over in send(client, "opening_change", site, opens_0="08:00", closes_0="15:00", **since)
    closed = {"first_day": "2026-03-10", "last_day": "2026-03-12", "why": "School holidays"}
    assert over in send(client, "closure_add", site, having="why", **closed)
    assert not any(model.objects.exists() for model in (CheckPlan, Round, Opening, Closure))


def line_of_check(text: str) -> str:
    """The one of the table of checks, without what was entered later."""
    return text.split("Next due")[1].split("Entered")[0]


def test_another_tolerance_sensor_and_code_leave_the_failed_check_as_it_was_judged(world, today, as_person):
    making.zero(world.probe, world.cook, at(9, 8), "1.6")
    before = paper(world, probes)
    typed = {"tolerance_milli": "3", "code": "Z9", "sensor": "bimetal"}
    client = as_person(world.manager)
    assert "This allows the probe more than before" in send(client, "probe_edit", world.probe.pk, **typed)
    send(client, "probe_edit", world.probe.pk, reason=WHY, **typed)
    assert Probe.objects.get().code == "Z9"
    checked = line_of_check(before)
    assert "±1.00 °C" in checked and "Out of" in checked and checked == line_of_check(paper(world, probes))
    told = paper(world, changes)
    for words in ("code on its label P1 Z9", "tolerance 1.00 °C 3.00 °C", "kind of sensor thermistor bimetal dial"):
        assert f"{words} {WHY} MH" in told
    assert told.count("11 Mar 2026 12:00 Probe Z9") == 3


def test_another_name_clock_and_rule_of_judging_leave_what_was_printed_as_it_was(world, today, as_person):
    grant(by=None, person=world.supervisor, role=Role.SUPERVISOR, area=world.far_area)
    today.move_to(at(9, 8))
    making.zero(world.probe, world.cook, at(9, 8), "0.9")
    today.move_to(at(11, 12))
    before = paper(world, probes, last=at(10).date()).split("Printed by")[0]
    assert "Alder School" in before and "9 Mar 2026 08:00" in before
    client = as_person(world.supervisor)
    send(client, "site_edit", world.site.pk, name="Alder Annexe", time_zone="Pacific/Auckland")
    asked = {"having": "decision_rule", "decision_rule": "guarded"}
    assert "Say why checks are to be judged by another rule." in send(client, "business_edit", **asked)
    send(client, "business_edit", reason=WHY, **asked)
    assert paper(world, probes, last=at(10).date()).split("Printed by")[0] == before
    today.shift(timedelta(days=2))
    told = paper(world, changes)
    assert "name Alder School Alder Annexe no reason given SV" in told
    assert "time zone Europe/London Pacific/Auckland no reason given SV" in told
    assert "rule for verdicts In tolerance up to its edge; near" in told and f"{WHY} SV" in told


def in_doubt(world) -> dict:
    """Three readings by a probe that failed then, all decided on and signed; another probe is good."""
    other = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    making.good(world.probe, world.cook, at(2, 8))
    making.good(other, world.cook, at(2, 8))
    readings = [take(world, typed, at(day)) for typed, day in (("3.1", 3), ("4.2", 4), ("6.9", 5))]
    anchor = f"check:{making.bad(world.probe, world.cook, at(9, 8)).pk}"
    decide(world, anchor, "discarded", why="Binned 4 kg of soup")
    sign(by=world.supervisor, anchor=anchor)
    return {"other": other, "anchor": anchor, "reading": readings[2], "within": readings[1]}


@pytest.fixture
def case(world, today):
    made = remembered(in_doubt, world)
    today.shift(timedelta(minutes=20))
    return made


def correct(client, case, **typed) -> str:
    return send(client, "reading_correct", case["reading"].pk, all_the_same="on", **{"reason": "Wrong probe.", **typed})


def test_a_reading_in_quarantine_leaves_its_case_by_no_hand_of_a_cook_or_manager(world, case, as_person):
    who = "A supervisor of the site has to do that (Sol Venn). Nothing was changed."
    client = as_person(world.cook)
    assert who in correct(client, case, probe=case["other"].pk)
    assert who in correct(client, case, taken_at="2026-03-01T09:00", used_despite="No other probe was here.")
    assert who in send(as_person(world.manager), "reading_void", case["reading"].pk, reason="Entered twice")
    assert "no longer stands" not in paper(world, cases)
    assert Reading.objects.count() == 3
    correct(client, case, typed="4.9", reason="Misread.")  # it is still decided on, and a mark is left
    told = paper(world, cases)
    assert "Corrected, and still in the case" in told and "no longer stands" in told


def test_what_a_supervisor_takes_out_of_a_signed_case_stays_listed_in_it_and_it_is_signed_anew(world, case, as_person):
    client, page = as_person(world.supervisor), reverse("case_detail", args=[case["anchor"].replace(":", "-")])
    assert "This signature no longer stands" not in text_of(client.get(page))
    correct(client, case, probe=case["other"].pk)
    new = Reading.objects.latest("pk")
    told = paper(world, open_points, cases)
    case_number = f"C{case['anchor'].partition(':')[2]}"
    assert f"Struck out of case {case_number}, or corrected in it" in told
    out = f"R{case['reading'].pk} Soup, 6.9 °C, P1, 5 Mar 2026 09:00 Taken out by correction: R{new.pk} Soup, 6.9 °C, P2, 5 Mar"
    assert out in told and "Wrong probe. SV" in told
    assert "decided, not signed Signed by Sol Venn on 11 Mar 2026; to be signed again" in told
    assert "1 reading of it was struck out or corrected since it was signed." in told
    assert f"The last signature under case {case_number} no longer stands." in told
    assert "not signed by a supervisor since" in told
    shown = text_of(client.get(page))
    assert "Struck out of it or corrected" in shown and "Taken out by correction: Soup 6.9 °C, probe P2" in shown
    send(client, "case_detail", case["anchor"].replace(":", "-"), having="note")
    told = paper(world, cases)
    assert "no longer stands" not in told and "Taken out by correction" in told


def overdue(world) -> None:
    """Checked on 2 March, weekly, and not since: overdue when it is 11 March."""
    making.good(world.probe, world.cook, at(2, 8))
    ready(world.probe)


def test_a_withdrawal_dated_back_over_an_overdue_check_leaves_its_row(world, today, as_person):
    overdue(world)
    typed = {"kind": "withdrawn", "at": "2026-03-08T08:00", "note": "Put in the drawer"}
    send(as_person(world.cook), "event_add", world.probe.pk, having="kind", **typed)
    told = paper(world, reminders, events, days)
    assert "9 Mar 2026" in told and "not owed" in told
    assert (
        "Not done in time; later found not to be owed, because" in told and "Entered late, 11 Mar 2026 12:00." in told
    )
    assert told.count("Entered late, 11 Mar 2026 12:00.") == 3
    assert "Entered late" in text_of(as_person(world.reader).get(reverse("probe_detail", args=[world.probe.pk])))


def test_a_probe_used_while_it_was_recorded_as_being_elsewhere_contradicts_itself_on_page_and_paper(
    world, today, as_person
):
    overdue(world)
    used = take(world, "3.1", at(10))
    typed = {"site": world.other_site.pk, "starts_at": "2026-03-08T08:00", "reason": "Lent to the other kitchen"}
    send(as_person(world.supervisor), "probe_move", world.probe.pk, **typed)
    told = paper(world, probes, days)
    assert "At Birch House: Lent to the other kitchen. SV" in told and "Entered late, 11 Mar 2026 12:00." in told
    assert f"This contradicts R{used.pk}, made with it at Alder School in that time." in told
    assert "not moved since (Lent to the other kitchen); entered late, 11 Mar 2026 12:00" in told
    shown = text_of(as_person(world.supervisor).get(reverse("probe_detail", args=[world.probe.pk])))
    assert "Two records of it contradict each other" in shown
    assert "Soup 3.1 °C, Alder School, 10 Mar 09:00" in shown and "Entered late" in shown
