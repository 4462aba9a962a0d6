"""Somebody with a phone who makes a guided check, tap by tap."""

from datetime import timedelta

from django.urls import reverse

from compliance.checks.kinds.zero import ICE
from compliance.checks.models import CheckDraft
from compliance.metrology.bath import BathKind

HTMX = {"HTTP_HX_REQUEST": "true"}


class Hands:
    """Somebody with a phone: every tap is a post, with or without scripts."""

    def __init__(self, client, probe, clock, scripts, guidance=ICE):
        self.client, self.probe, self.clock, self.headers = client, probe, clock, HTMX if scripts else {}
        self.guidance = guidance

    def look(self, **query):
        return self.client.get(reverse(self.guidance.address, args=[self.probe.pk]), query)

    def tap(self, name, **data):
        url = reverse(f"{self.guidance.address}_{name}", args=[self.probe.pk])
        return self.client.post(url, data, follow=not self.headers, **self.headers)

    def wait(self, seconds):
        self.clock.shift(timedelta(seconds=seconds))

    def make_bath(self, kind=BathKind.PACKED_CRUSHED, skip=()):
        self.tap("start", kind=kind.value)
        return self.prepare(kind, skip)

    def prepare(self, kind, skip=()):
        for task in self.guidance.before[kind]:
            self.tap("point", point=task.point.value, state="left" if task.point in skip else "done")
        return self.tap("insert")

    def inside(self, kind=BathKind.PACKED_CRUSHED):
        for task in self.guidance.inside[kind]:
            self.tap("point", point=task.point.value, state="done")

    def read(self, value, **data):
        return self.tap("read", value=value, seen=len(self.draft.readings), **data)

    def settle(self, value, first="9.0"):
        self.wait(10)
        self.read(first)
        self.wait(25)
        self.read(value)
        for _ in range(4):
            self.wait(10)
            self.tap("read", same=value, value="", seen=len(self.draft.readings))

    def finish(self, **data):
        key = str(self.draft.key) if CheckDraft.objects.exists() else data.pop("key")
        given = {"stage": "as_found", "note": "", "immersion_mm": "", "key": key, **data}
        return self.client.post(reverse(f"{self.guidance.address}_finish", args=[self.probe.pk]), given)

    @property
    def draft(self):
        return CheckDraft.objects.get()
