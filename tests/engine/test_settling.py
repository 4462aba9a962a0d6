"""A run of kills is over when every part has been at work again, and not while health is merely patient yet."""

import itertools
from types import SimpleNamespace

from tests.engine import kills

WELL = {"figure": 0.0, "well": True}


def installation(*schedules):
    """One whose schedule is found so, look after look; the last for ever. Everything else is well."""
    told = itertools.chain(schedules, itertools.repeat(schedules[-1]))

    def health(web):
        parts = {name: WELL for name in kills.BEATING} | {"schedule": next(told)}
        return (200 if all(part["well"] for part in parts.values()) else 503), parts

    return SimpleNamespace(health=health)


def settled(*schedules):
    scene = SimpleNamespace(installation=installation(*schedules), web=None, interruptions=0)
    return kills.settle(scene, [])


def test_a_schedule_that_is_yet_to_come_back_is_waited_for():
    patient, over = {"figure": 7.9, "well": True}, {"figure": 8.1, "well": False}
    assert settled(patient, over, WELL) == []


def test_a_schedule_that_never_comes_back_is_a_fault_though_health_is_patient(monkeypatch):
    monkeypatch.setattr(kills, "SETTLES_WITHIN", 0.5)
    assert settled({"figure": 7.9, "well": True}) == ["schedule is not well in the end"]
