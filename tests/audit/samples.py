"""One sample call of every action: a builder that gives the keywords, from the stock world."""

import uuid
from datetime import timedelta

from django.utils import timezone

from compliance.probes.models import EventKind
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Fate
from sites.models import Role
from tests.checks import making
from tests.world import make_person, make_reading

SAMPLES = {}


def sample(name):
    def register(builder):
        SAMPLES[name] = builder
        return builder

    return register


def days_ago(number):
    return timezone.now() - timedelta(days=number)


SAMPLES |= {
    "business.found": lambda w: {
        "by": None, "business": "New Meals", "area": "First", "email": "new@example.test", "name": "Ida Moss",
        "initials": "IM", "password": "silver-harbour-19",
    },
    "business.add": lambda w: {"by": w.supervisor, "name": "New Meals"},
    "area.add": lambda w: {"by": w.supervisor, "business": w.business, "name": "East"},
    "area.amend": lambda w: {"by": w.supervisor, "area": w.area, "name": "North-east"},
    "site.add": lambda w: {"by": w.supervisor, "area": w.area, "name": "Dogwood School"},
    "site.amend": lambda w: {"by": w.supervisor, "site": w.site, "changes": {"name": "Alder Nursery"}},
    "person.add": lambda w: {
        "by": w.supervisor, "email": "new@example.test", "name": "Ida Moss", "initials": "IM",
        "password": "silver-harbour-19", "role": Role.COOK, "site": w.site,
    },
    "person.amend": lambda w: {"by": w.supervisor, "person": w.cook, "changes": {"name": "Col Ekser"}},
    "person.stop": lambda w: {"by": w.supervisor, "person": w.cook, "reason": "Moved away."},
    "person.restart": lambda w: {"by": w.supervisor, "person": w.cook},
    "person.password": lambda w: {"by": w.cook, "person": w.cook, "password": "silver-harbour-19"},
    "role.grant": lambda w: {"by": w.supervisor, "person": w.cook, "role": Role.COOK, "site": w.other_site},
}  # fmt: skip


@sample("role.revoke")
def role_revoke(w):
    person = make_person("Ida Moss", Role.COOK, site=w.site)
    person.memberships.create(role=Role.COOK, site=w.other_site)
    return {"by": w.supervisor, "membership": person.memberships.first()}


def zero(w):
    return {
        "by": w.cook, "key": uuid.uuid4(), "probe": w.probe, "site": w.site, "stage": "as_found",
        "checked_at": days_ago(1), "preparation": making.GOOD_BATH, "readings": making.settled_at("0.2"),
    }  # fmt: skip


def certificate(w):
    return {
        "by": w.manager, "key": uuid.uuid4(), "probe": w.probe, "site": w.site, "stage": "as_found",
        "checked_at": days_ago(1), "laboratory": "Fen Measurement", "certificate_number": "F-78", "reference_milli": 0,
        "error_milli": 90, "expanded_milli": 50,
    }  # fmt: skip


SAMPLES |= {
    "check.record_zero": zero,
    "check.record_certificate": certificate,
    "check.correct_zero": lambda w: zero(w) | {
        "by": w.supervisor, "check": making.good(w.probe, w.cook, days_ago(2)), "reason": "Mistyped."
    },
    "check.correct_certificate": lambda w: certificate(w) | {
        "by": w.supervisor, "check": making.certificate(w.probe, w.manager, days_ago(2)), "reason": "Mistyped."
    },
    "check.void": lambda w: {
        "by": w.supervisor, "check": making.good(w.probe, w.cook, days_ago(2)), "reason": "Another probe."
    },
    "event.record": lambda w: {"by": w.cook, "probe": w.probe, "kind": EventKind.DROPPED, "at": days_ago(1)},
    "event.void": lambda w: {
        "by": w.supervisor, "reason": "Another probe.",
        "event": making.event(w.probe, w.cook, EventKind.DROPPED, days_ago(1)),
    },
}  # fmt: skip


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
    return {"by": w.manager, "case": case, "selection": selection, "fate": Fate.DISCARDED, "why": "4 l poured away."}


@sample("case.sign")
def case_sign(w):
    return {"by": w.supervisor, "anchor": failed_probe(w, reading=False)}
