"""Readings as tests take them: cold milk with P1, unless a test says otherwise."""

import uuid
from datetime import UTC, datetime

from compliance.readings import actions
from compliance.readings.data import ActData, ReadingData

EARLIER = datetime(2026, 3, 11, 9, 0, tzinfo=UTC)  # three hours before the clock of the tests


def take(world, *, by=None, key=None, typed="4.0", **facts):
    told = {
        "probe": world.probe,
        "site": world.site,
        "limit": world.limit,
        "item": "milk",
        "unit": "C",
        "taken_at": EARLIER,
    }
    data = ReadingData(key=key or uuid.uuid4(), typed=typed, **(told | facts))
    return actions.record(by=by or world.cook, data=data)


def correct(*, by, reading, reason, **facts):
    return actions.correct(by=by, reading=reading, reason=reason, data=ReadingData(**facts))


def act_on_deviation(*, by, deviation, after=None, **facts):
    return actions.act_on_deviation(by=by, deviation=deviation, data=ActData(**facts), after=after)


def form_data(world, **facts):
    told = {
        "key": uuid.uuid4().hex,
        "probe": world.probe.pk,
        "limit": world.limit.pk,
        "item": "milk",
        "typed": "4.0",
        "unit": "C",
        "taken_at": "",
        "taken_by": world.cook.pk,
        "note": "",
        "hold_s": "",
        "since_start_s": "",
    }
    return told | facts
