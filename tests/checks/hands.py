"""Somebody with a phone who makes a guided check."""

from datetime import timedelta

from django.contrib.auth import get_user
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import CheckDraft
from compliance.metrology.bath import BathKind

HTMX = {"HTTP_HX_REQUEST": "true"}


class Hands:
    """Somebody with a phone: a tap is a post, with or without scripts. What a test only begins with goes without a page."""

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
        person, stage = get_user(self.client), drafts.likely_stage(self.probe)
        drafts.begin(person, self.probe, kind, stage, timezone.now())
        self.prepare(kind, skip)

    def prepare(self, kind, skip=()):
        points = [task.point for task in self.guidance.before[kind]]
        drafts.mark(self.draft, [point for point in points if point not in skip], "done", timezone.now())
        if skip:
            drafts.mark(self.draft, skip, "left", timezone.now())
        drafts.insert(self.draft, timezone.now())

    def inside(self, kind=BathKind.PACKED_CRUSHED):
        drafts.mark(self.draft, [task.point for task in self.guidance.inside[kind]], "done", timezone.now())

    def read(self, value, **data):
        return self.tap("read", value=value, seen=len(self.draft.readings), **data)

    def settle(self, value, first="9.0"):
        draft = self.draft
        for seconds, text in settling(value, first):
            self.wait(seconds)
            draft = drafts.read(draft, text, len(draft.readings), timezone.now())

    def finish(self, **data):
        key = str(self.draft.key) if CheckDraft.objects.exists() else data.pop("key")
        given = {"stage": "as_found", "note": "", "immersion_mm": "", "key": key, **data}
        return self.client.post(reverse(f"{self.guidance.address}_finish", args=[self.probe.pk]), given)

    @property
    def draft(self):
        return CheckDraft.objects.get()


class TapByTap(Hands):
    """Every tap is made: for walks of which each page counts."""

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

    def settle(self, value, first="9.0"):
        for number, (seconds, text) in enumerate(settling(value, first)):
            self.wait(seconds)
            typed = {"value": text} if number < 2 else {"same": text, "value": ""}
            self.tap("read", seen=len(self.draft.readings), **typed)


def settling(value, first):
    """What is typed, and how many seconds after the tap before."""
    return (10, first), (25, value), *[(10, value)] * 4
