"""Readings as tests take them: cold milk with P1, unless a test says otherwise."""

import uuid
from datetime import UTC, datetime

from compliance.readings.actions import record

EARLIER = datetime(2026, 3, 11, 9, 0, tzinfo=UTC)  # three hours before the clock of the tests


def take(world, *, by=None, key=None, typed="4.0", **facts):
    told = {
        "probe": world.probe, "site": world.site, "limit": world.limit, "item": "milk", "unit": "C", "taken_at": EARLIER,
    }  # fmt: skip
    return record(by=by or world.cook, key=key or uuid.uuid4(), typed=typed, **(told | facts))


def form_data(world, **facts):
    told = {
        "key": uuid.uuid4().hex, "probe": world.probe.pk, "limit": world.limit.pk, "item": "milk", "typed": "4.0",
        "unit": "C", "taken_at": "", "taken_by": world.cook.pk, "note": "", "hold_s": "",
        "since_start_s": "",
    }  # fmt: skip
    return told | facts
