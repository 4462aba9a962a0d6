"""A run of kills is over when every part has been at work again, and not while health is merely patient yet."""

import itertools
import time
from types import SimpleNamespace

from tests.engine import kills
from tests.engine.truth import BEATING, Look

WELL = {"figure": 0.0, "well": True, "says": ""}


class Looks:
    """Of one whose schedule is found so, look after look; the last for ever. Everything else is well."""

    def __init__(self, *schedules):
        self.schedules = itertools.chain(schedules, itertools.repeat(schedules[-1]))

    def last(self, since):
        parts = dict.fromkeys(BEATING, WELL) | {"schedule": next(self.schedules)}
        now = time.monotonic()
        return Look(now, now, 200 if all(part["well"] for part in parts.values()) else 503, parts)


def settled(*schedules):
    return kills.settle(
        SimpleNamespace(installation=SimpleNamespace(rows=lambda sql: [])), [], Looks(*schedules), seconds=1, told=True
    )


def test_a_schedule_that_is_yet_to_come_back_is_waited_for():
    patient, over = {"figure": 7.9, "well": True, "says": ""}, {"figure": 8.1, "well": False, "says": ""}
    assert settled(patient, over, WELL) == []


def test_a_schedule_that_never_comes_back_is_a_fault_though_health_is_patient():
    assert settled({"figure": 7.9, "well": True, "says": ""}) == ["schedule is not well in the end"]
