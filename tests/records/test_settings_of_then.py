"""What was printed with the settings of its time says them again, whatever is set later; a correction is shown and listed."""

import io
import re
from datetime import timedelta

import pytest
from django.utils import timezone
from pypdf import PdfReader

from compliance.checks.instruments import amend_probe
from compliance.checks.models import Check
from compliance.records.check_record import write_check
from compliance.records.sections import changes
from compliance.records.sections import events as events_section
from compliance.reminders.planning import change_site
from sites.actions import amend_business
from sites.models import Site
from tests.checks import making
from tests.printed_text import words_of
from tests.records.making import NOW, at, record_of, scope_of, section, section_of, sections_of, story
from tests.remembered import remembered
from tests.reminders.making import swept

CHANGES = "Changes of what was set"
SITE = {
    "name": "Alder Annexe",
    "address": "9 Weir Lane",
    "unit": "F",
    "altitude_m": 900,
    "time_zone": "Pacific/Auckland",
    "country": "IE",
    "closed_on_holidays": True,
}
PROBE = {
    "code": "Z9",
    "description": "Red handle",
    "sensor": "bimetal",
    "resolution_milli": 500,
    "tolerance_milli": 400,
    "lowest_milli": -10_000,
    "highest_milli": 110_000,
    "maker": "Rill",
    "model": "R2",
    "serial": "77",
}
BUSINESS = {"name": "Larkfield Meals", "decision_rule": "guarded"}
WHY = "The inspector asked for it."


def change_everything(world, **given):
    by = world.supervisor
    for probe in world.business.probes.filter(site=world.site):
        amend_probe(by=by, probe=probe, changes=PROBE | {"code": f"Z9-{probe.pk}"}, reason=WHY, **given)
    change_site(by=by, site=Site.objects.get(pk=world.site.pk), changes=SITE, reason=WHY, **given)
    amend_business(by=by, business=world.business, changes=BUSINESS, reason=WHY, **given)


def fresh(world) -> Site:
    return Site.objects.select_related("area__business").get(pk=world.site.pk)


def printed_check(check) -> str:
    out = io.BytesIO()
    check = Check.objects.select_related("probe", "site__area__business").get(pk=check.pk)
    write_check(out, check, printed_by="Rue Danby", now=timezone.now())
    return words_of(PdfReader(out))


def without_now(text: str) -> str:
    """But for when it was made, and the head of all that had been entered by then."""
    text = re.sub(r"Record head \d+, [\w ]+:\d\d \S+: (?:[0-9a-f]{8} ?){8}", "", text)
    text = re.sub(r"As of printing, \d+ \w+ 2026 [\d:]+ \w+", "", text)
    return re.sub(r"Printed by Rue Danby, \d+ \w+ 2026 [\d:]+(?: \w+)?", "", text)


@pytest.fixture
def march(world, clock):
    clock.move_to(NOW)
    made = remembered(story, world)
    clock.move_to(at(3, 12, month=4))
    swept()
    for probe in (world.probe, made["other"]):
        making.good(probe, world.cook, at(3, 8, month=4))  # so that nothing is open
    return made


def test_a_period_that_is_over_is_printed_with_what_was_set_then(world, march):
    before = without_now(record_of(fresh(world)))
    checks = [without_now(printed_check(march[name])) for name in ("failed", "after")]
    change_everything(world)
    after = without_now(record_of(fresh(world)))
    assert after == before
    assert [without_now(printed_check(march[name])) for name in ("failed", "after")] == checks
    assert "Z9" not in after and "Alder School" in after and "Larkfield Kitchens" in after


def test_the_period_in_which_it_was_changed_lists_it_and_says_of_each_line_what_was_set_at_its_time(world, clock):
    clock.move_to(at(10, 8))
    making.good(world.probe, world.cook, at(10, 8))
    making.event(world.probe, world.cook, "dropped", at(10, 8))
    clock.move_to(at(12, 8))
    amend_probe(by=world.manager, probe=world.probe, changes={"code": "P7", "tolerance_milli": 1500}, reason=WHY)
    clock.move_to(at(14, 8))
    making.event(world.probe, world.cook, "dropped", at(14, 8))
    text = sections_of(scope_of(fresh(world)), events_section, changes)
    events = section(text, "Events of probes")
    assert "P1 Dropped" in events and "P7 Dropped" in events
    listed = section(text, CHANGES)
    assert "Probe P7 code on its label P1 P7 The inspector asked for it. MH" in listed
    assert "Probe P7 tolerance 1.00 °C 1.50 °C" in listed
    assert CHANGES not in sections_of(scope_of(fresh(world), at(1).date(), at(11).date()), changes)


def test_a_correction_is_shown_where_it_was_wrong_and_listed_with_who_corrected_it_and_why(world, march):
    change_everything(world, corrects=True)
    text = record_of(fresh(world))
    assert "Alder School" not in text.split(CHANGES)[0] and "Larkfield Meals" in text and "Alder Annexe" in text
    listed = section(text, CHANGES)
    assert "Site name Alder School Alder Annexe The inspector asked for it. SV" in listed
    assert "A correction: it holds from the start." in listed
    assert "Corrected since" in printed_check(march["failed"])


def test_of_two_days_each_is_printed_on_the_clock_that_went_there_then(world, clock):
    clock.move_to(at(10, 8))
    making.event(world.probe, world.cook, "dropped", at(10, 8))
    clock.move_to(at(12, 8))
    change_site(by=world.supervisor, site=fresh(world), changes={"time_zone": "Pacific/Auckland"})
    making.event(world.probe, world.cook, "dropped", at(12, 8))
    clock.move_to(at(14, 8))
    events = section_of(fresh(world), "Events of probes")
    assert "10 Mar 2026 08:00" in events and "12 Mar 2026 21:00" in events


def test_a_check_entered_late_is_judged_by_what_was_set_when_it_was_made(world, clock):
    clock.move_to(at(10, 8))
    amend_probe(by=world.manager, probe=world.probe, changes={"tolerance_milli": 500}, reason=WHY)
    amend_business(by=world.supervisor, business=world.business, changes={"decision_rule": "simple"}, reason=WHY)
    clock.move_to(at(12, 8))
    late = making.good(world.probe, world.cook, at(9, 8))
    now = making.good(world.probe, world.cook, timezone.now() - timedelta(minutes=5))
    assert [(each.tolerance_milli, each.decision_rule) for each in (late, now)] == [
        (1000, "non_binary"),
        (500, "simple"),
    ]
