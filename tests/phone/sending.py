"""A phone that sends what it kept, as its worker does (shared/static/noughtbook/worker.js)."""

import json
import uuid
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from compliance.checks.kinds.zero import ICE
from shared.kept_pages import mark_of
from tests.checks.making import settled_at
from tests.readings.helpers import form_data

READY = {"points": [p.value for p in ICE.wanted[ICE.usual]] + ["fell"], "left": []}


class Phone:
    """`ahead`: by how much its clock is, as it was when it last had network."""

    def __init__(self, client, world, person, ahead=timedelta(seconds=2)):
        self.client, self.world, self.person, self.ahead = client, world, person, ahead

    def send(self, what, at: datetime, query="", **fields):
        """What was typed at a true time; gives the answer of the server."""
        self.client.force_login(self.person)
        told = {"what": what, "person": mark_of(self.person), **self.times(at), **fields}
        return self.client.post(reverse("phone_send") + query, told).json()

    def times(self, at: datetime) -> dict:
        def ms(moment):
            return round(1000 * moment.timestamp())

        off = self.ahead // timedelta(milliseconds=1)
        return {
            "phone_at": ms(at + self.ahead),
            "phone_now": ms(timezone.now() + self.ahead),
            "phone_off": off,
            "phone_said": "",
        }

    def reading(self, at: datetime, **fields):
        told = form_data(self.world) | {"taken_by": self.person.pk} | fields
        return self.send("reading", at, f"?site={self.world.site.pk}", **told)

    def check(self, at: datetime, value="0.1", **fields):
        """`at`: when its last number was typed."""
        numbers = [[ms, text] for ms, text, _ in settled_at(value)]
        told = {
            "key": str(uuid.uuid4()),
            "probe": self.world.probe.pk,
            "site": self.world.site.pk,
            "way": ICE.usual.value,
            "stage": "as_found",
            "unit": "C",
            "numbers": json.dumps(numbers),
            "struck": "[]",
            **READY,
        }
        return self.send("check", at, **(told | fields))
