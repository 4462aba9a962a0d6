"""A probe that was good, measured food and then failed."""

from compliance.checks.models import Check
from compliance.quarantine import actions
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from tests.checks.making import bad, day, good
from tests.world import make_reading


def failed_after(world, *typed, probe=None, limit=None, sites=None) -> str:
    """Good on day 0, one reading a day from day 1, failed (+2.4 °C) on day 9; gives the anchor of the case."""
    probe, limit = probe or world.probe, limit or world.limit
    good(probe, world.cook, day(0))
    for number, text in enumerate(typed, start=1):
        make_reading(probe, limit, text, day(number / 2), by=world.cook)
    return f"check:{bad(probe, world.cook, day(9)).pk}"


def undecided(case, outcome="", sites=None) -> Selection:
    return Selection(sites=tuple(sites or case.sites), outcome=outcome, undecided=True)


def decide(*, by, case, selection, after=None, most=None, **words) -> int:
    data = actions.DecisionData(**words)
    return actions.decide(by=by, case=case, selection=selection, data=data, after=after, most=most)


def case_of(anchor):
    return load_case(anchor)


def anchor_check(anchor) -> Check:
    return Check.objects.get(pk=int(anchor.split(":")[1]))
