"""One sample call of every action: a builder that gives its keywords from the stock world.

`call` among them is the function that people call, where it prepares and hands on to the action itself.
"""

import json
import uuid
from dataclasses import replace
from datetime import time, timedelta
from decimal import Decimal
from pathlib import Path

from django.utils import timezone

from compliance.advice.actions import Advised
from compliance.appliances.actions import add_appliance, take_out_of_use
from compliance.appliances.data import OutOfUseData
from compliance.checks.kinds.zero import ZeroData
from compliance.limits.data import OwnLimit
from compliance.limits.models import Direction, Rule
from compliance.notices.actions import open_feed
from compliance.notices.models import Notice
from compliance.notices.recipients import Kind, Wish
from compliance.plans.actions import close_days
from compliance.plans.data import ClosureData, PlanData, RoundData
from compliance.probes.models import EventKind
from compliance.quarantine.actions import DecisionData
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Fate
from compliance.readings import actions as readings
from compliance.readings.data import ActData, ReadingData
from compliance.readings.importing import import_file
from compliance.readings.models import Deviation, Disposition
from compliance.readings.offered_acts import USUAL
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from compliance.reviews.actions import ReviewData
from shared.units import Unit
from sites.actions import make_password_link, stop_person
from sites.data import NewPerson
from sites.kitchen_actions import register_device
from sites.models import Role
from sites.password_links import tokens
from tests.checks import making
from tests.readings.files import csv_file, row
from tests.rows import fill
from tests.world import make_person, make_reading

RULES = Path(__file__).resolve().parent.parent.parent / "fixtures" / "rules"
SAMPLES = {}
NEW_PERSON = NewPerson(email="new@example.test", name="Ida Moss", initials="IM")


def sample(name):
    def register(builder):
        SAMPLES[name] = builder
        return builder

    return register


def days_ago(number):
    return timezone.now() - timedelta(days=number)


def _stopped(world):
    stop_person(by=world.supervisor, person=world.cook, reason="moved away")
    return world.cook


def _device(world):
    return register_device(by=world.manager, site=world.site, name="Tablet at the pass")[0]


SAMPLES |= {
    "business.found": lambda w: {
        "by": None,
        "business": "New Meals",
        "area": "First",
        "supervisor": replace(NEW_PERSON, password="silver-harbour-19"),
    },
    "business.add": lambda w: {"by": w.supervisor, "name": "New Meals"},
    "business.amend": lambda w: {
        "by": w.supervisor,
        "business": w.business,
        "changes": {"decision_rule": "guarded"},
        "reason": "Agreed.",
    },
    "business.restore": lambda w: {"by": None, "business": w.business, "made": "2026-11-03T02:10:00+00:00"},
    "area.add": lambda w: {"by": w.supervisor, "business": w.business, "name": "East"},
    "area.amend": lambda w: {"by": w.supervisor, "area": w.area, "name": "North-east"},
    "site.add": lambda w: {"by": w.supervisor, "area": w.area, "name": "Dogwood School"},
    "site.amend": lambda w: {"by": w.supervisor, "site": w.site, "changes": {"name": "Alder Nursery"}},
    "person.add": lambda w: {"by": w.supervisor, "data": NEW_PERSON, "role": Role.COOK, "site": w.site},
    "person.invite": lambda w: {"by": w.supervisor, "data": NEW_PERSON, "role": Role.COOK, "site": w.site},
    "person.amend": lambda w: {"by": w.supervisor, "person": w.cook, "changes": {"email": "col@example.test"}},
    "person.rename": lambda w: {
        "by": w.supervisor,
        "person": w.cook,
        "name": "Col Ekser",
        "initials": "CE",
        "reason": "Slip of the pen.",
    },
    "person.stop": lambda w: {"by": w.supervisor, "person": w.cook, "reason": "Moved away."},
    "person.restart": lambda w: {"by": w.supervisor, "person": _stopped(w)},
    "person.password": lambda w: {"by": w.cook, "password": "silver-harbour-19"},
    "person.password_link": lambda w: {"by": w.supervisor, "person": w.cook},
    "person.sign_in": lambda w: {"by": w.cook, "address": "192.0.2.1", "known_device": True, "wrong_before": 0},
    "person.pin": lambda w: {"by": w.cook, "pin": "8305"},
    "person.pin_sign_in": lambda w: {"by": w.cook, "device": _device(w)},
    "device.register": lambda w: {"by": w.manager, "site": w.site, "name": "Tablet at the pass"},
    "device.revoke": lambda w: {"by": w.manager, "device": _device(w)},
    "role.grant": lambda w: {"by": w.supervisor, "person": w.cook, "role": Role.COOK, "site": w.other_site},
}


@sample("person.password_by_link")
def person_password_by_link(w):
    link = make_password_link(by=w.supervisor, person=w.cook)
    return {"by": w.cook, "link": link, "token": tokens.make_token(link), "password": "silver-harbour-19"}


@sample("role.revoke")
def role_revoke(w):
    person = make_person("Ida Moss", Role.COOK, site=w.site)
    person.memberships.create(role=Role.COOK, site=w.other_site)
    return {"by": w.supervisor, "membership": person.memberships.first()}


def zero(w, **changes):
    fields = {
        "key": uuid.uuid4(),
        "site": w.site,
        "stage": "as_found",
        "checked_at": days_ago(1),
        "preparation": making.GOOD_BATH,
        "readings": making.settled_at("0.2"),
        **changes,
    }
    return {"by": w.cook, "probe": w.probe, "data": ZeroData(**fields)}


def unfinished(w):
    return zero(w, typing={"showed": "4.0 °C"}, readings=[(20_000, "4.0", "C")]) | {
        "by": None,
        "began_by": w.cook,
        "reason": "left unfinished for 15 minutes",
        "why": ["Inconclusive: this check was left unfinished for 15 minutes."],
    }


def correction(w):
    old = making.good(w.probe, w.cook, days_ago(2))
    return {"by": w.supervisor, "check": old, "reason": "Mistyped.", "data": zero(w)["data"]}


def reminder_missed(w):
    made = {"probe": w.probe, "site": w.site, "because": "every 7 days"}
    times = {"opens_at": days_ago(16), "due_at": days_ago(9), "grace_at": days_ago(8.9), "closes_at": days_ago(2)}
    return Reminder.objects.create(**made, **times)


def excuse(w):
    return {"by": w.manager, "reminder": reminder_missed(w), "reason": "In the laboratory."}


SAMPLES |= {
    "reminder.excuse": excuse,
    "reminder.excuse_closed": lambda w: {
        "by": w.manager,
        "closure": close_days(**SAMPLES["closure.add"](w)),
        "reminders": [reminder_missed(w)],
    },
    "reminder.void_excuse": lambda w: {
        "by": w.manager,
        "excuse": excuse_reminder(**excuse(w)),
        "reason": "It was here all the time.",
    },
    "check.record": zero,
    "check.record_unfinished": unfinished,
    "check.correct": correction,
    "check.void": lambda w: {
        "by": w.supervisor,
        "check": making.good(w.probe, w.cook, days_ago(2)),
        "reason": "Another probe.",
    },
    "event.record": lambda w: {"by": w.cook, "probe": w.probe, "kind": EventKind.DROPPED, "at": days_ago(1)},
    "event.void": lambda w: {
        "by": w.supervisor,
        "reason": "Another probe.",
        "event": making.event(w.probe, w.cook, EventKind.DROPPED, days_ago(1)),
    },
}


def failed_probe(w, reading=True):
    """A case: good ten days ago, failed yesterday, and a reading between."""
    making.good(w.probe, w.cook, days_ago(10))
    if reading:
        make_reading(w.probe, w.limit, "3.5", days_ago(5), by=w.cook)
    check = making.bad(w.probe, w.cook, days_ago(1))
    return f"check:{check.pk}"


@sample("case.decide")
def case_decide(w):
    case = load_case(failed_probe(w))
    selection = Selection(sites=(w.site.pk,))
    data = DecisionData(fate=Fate.DISCARDED, why="4 l poured away.")
    return {"by": w.manager, "case": case, "selection": selection, "data": data}


@sample("case.sign")
def case_sign(w):
    return {"by": w.supervisor, "anchor": failed_probe(w, reading=False)}


@sample("review.sign")
def review_sign(w):
    making.good(w.probe, w.cook, days_ago(3))
    day = days_ago(3).astimezone(w.site.zone).date()
    return {"by": w.supervisor, "site": w.site, "data": ReviewData(first=day, last=day, meaning="reviewed")}


@sample("deviation.offer")
def deviation_offer(w):
    return {"by": w.manager, "site": w.site, "data": replace(USUAL, warm_actions=("Moved it to the other fridge",))}


@sample("advice.accept")
def advice_accept(w):
    advised = Advised(days_before=7, days_advised=3, days_accepted=3, target=95, figures={"checks": 12})
    return {"by": w.manager, "probe": w.probe, "advised": advised}


HOURS = [(time(8), time(15))] * 5 + [None, None]


def appliance(w):
    return add_appliance(**SAMPLES["appliance.add"](w))


def out_of_use(w):
    return take_out_of_use(by=w.cook, appliance=appliance(w), data=OutOfUseData(why="broken", starts_at=days_ago(0.5)))


def ahead(number):
    return timezone.localdate() + timedelta(days=number)


SAMPLES |= {
    "plan.set": lambda w: {"by": w.manager, "data": PlanData(probe=w.probe, every_days=3)},
    "appliance.add": lambda w: {"by": w.manager, "limit": w.limit, "name": "Dairy fridge", "place": "back kitchen"},
    "appliance.amend": lambda w: {"by": w.manager, "appliance": appliance(w), "changes": {"name": "Milk fridge"}},
    "appliance.out_of_use": lambda w: {"by": w.cook, "appliance": appliance(w), "data": OutOfUseData(why="broken")},
    "appliance.back_in_use": lambda w: {"by": w.cook, "out_of_use": out_of_use(w)},
    "appliance.void_out_of_use": lambda w: {
        "by": w.manager,
        "out_of_use": out_of_use(w),
        "reason": "It was in use all the time.",
    },
    "round.set": lambda w: {"by": w.manager, "limit": w.limit, "data": RoundData(times=[time(8), time(14)])},
    "opening.set": lambda w: {"by": w.manager, "site": w.site, "hours": HOURS},
    "closure.add": lambda w: {
        "by": w.manager,
        "data": ClosureData(site=w.site, first_day=ahead(1), last_day=ahead(9), why="school holidays"),
    },
}


@sample("closure.void")
def closure_void(w):
    closure = close_days(**SAMPLES["closure.add"](w))
    return {"by": w.manager, "closure": closure, "reason": "The holidays begin later."}


def own_limit(w):
    own = OwnLimit(
        code="soup-hot",
        step="Hot holding",
        title="Soup on the counter",
        hazard="growth of bacteria",
        direction=Direction.AT_LEAST,
        value=Decimal(63),
        unit=Unit.CELSIUS,
        usual_action="Reheat it.",
    )
    return {
        "by": w.manager,
        "site": w.site,
        "own": own,
        "effective_from": days_ago(0),
        "reason": "New on the menu.",
    }


SAMPLES |= {
    "rules.load": lambda w: {"by": None, "content": json.loads((RULES / "united_kingdom.json").read_text())},
    "limit.adopt": lambda w: {
        "by": w.manager,
        "site": w.site,
        "rule": fill(Rule, w),
        "effective_from": days_ago(0),
        "reason": "New on the menu.",
    },
    "limits.adopt": lambda w: {
        "by": w.manager,
        "site": w.site,
        "rules": [fill(Rule, w)],
        "effective_from": days_ago(0),
    },
    "limit.add": own_limit,
    "limit.change": lambda w: {
        "by": w.manager,
        "limit": w.limit,
        "effective_from": days_ago(0),
        "value": Decimal(4),
        "reason": "Tighter.",
    },
    "limit.retire": lambda w: {
        "by": w.manager,
        "limit": w.limit,
        "effective_from": days_ago(0),
        "reason": "No cold food any more.",
    },
    "probe.register": lambda w: {"by": w.manager, "site": w.site, "code": "P7", "limits": [w.limit]},
    "probe.amend": lambda w: {"by": w.manager, "probe": w.probe, "changes": {"maker": "Rill"}},
    "probe.move": lambda w: {
        "by": w.supervisor,
        "probe": w.probe,
        "site": w.other_site,
        "starts_at": days_ago(1),
        "reason": "Lent.",
    },
}


def reading(w):
    data = ReadingData(
        key=uuid.uuid4(),
        probe=w.probe,
        site=w.site,
        limit=w.limit,
        item="Milk",
        typed="4.1",
        unit=Unit.CELSIUS,
        taken_at=days_ago(1),
    )
    return {"by": w.cook, "data": data}


def old_reading(w, typed="3.5"):
    return make_reading(w.probe, w.limit, typed, days_ago(2), by=w.cook)


@sample("deviation.act")
def deviation_act(w):
    deviation = Deviation.objects.create(reading=old_reading(w, "9.0"), why="4 °C above", recorded_by=w.cook)
    data = ActData(
        action="Moved to the cold room.",
        cause="The door stood open.",
        disposition=Disposition.MOVED,
        done_at=days_ago(1),
    )
    return {"call": readings.act_on_deviation, "by": w.manager, "deviation": deviation, "data": data}


SAMPLES |= {
    "reading.record": lambda w: reading(w) | {"call": readings.record},
    "reading.correct": lambda w: (
        reading(w) | {"call": readings.correct, "by": w.supervisor, "reading": old_reading(w), "reason": "Mistyped."}
    ),
    "reading.void": lambda w: {"by": w.supervisor, "reading": old_reading(w), "reason": "Another probe."},
    "reading.import": lambda w: (
        {"call": import_file, "by": w.manager, "file_name": "readings.csv", "content": csv_file(row())}
    ),
}


def undelivered(w):
    return Notice.objects.create(
        kind="failed", person=w.manager, about="1", site=w.site, subject="Stop", link="/", in_page=True, state="failed"
    )


SAMPLES |= {
    "notice.choose": lambda w: {
        "by": w.supervisor,
        "choices": {Kind.DIGEST: Wish(False, True)},
        "quiet_from": time(20),
        "quiet_until": time(7),
    },
    "notice.send_again": lambda w: {"by": w.supervisor, "notice": undelivered(w)},
    "feed.open": lambda w: {"by": w.manager, "site": w.site, "label": "The wall"},
    "feed.revoke": lambda w: {"by": w.manager, "key": open_feed(by=w.manager, site=w.site, label="The wall")[0]},
}
