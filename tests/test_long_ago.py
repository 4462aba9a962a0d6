"""A fact of a probe with a date over 60 days back is confirmed in words first; until then nothing is saved, and nothing lost."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from compliance.checks.models import Check, CheckVoid
from compliance.probes.models import Event, EventKind, EventVoid, Placement, Probe
from tests.checks import making
from tests.probes.test_pages import filled
from tests.undone import undone

NOON = datetime(2026, 3, 11, 12, tzinfo=UTC)
BORDER, OLDER, DAY_BEFORE = "2026-01-10", "2026-01-09", "2026-01-08"  # 60, 61 and 62 days before
SAYS = "Friday 9 Jan 2026 is 61 days ago."
pytestmark = pytest.mark.usefixtures("clock")


def typed_of(form) -> dict:
    """A form as its page first shows it, as a browser sends it."""
    shown = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in shown.items() if value not in (None, "", False)}


def certificate(world):
    given = {
        "key": str(uuid.uuid4()),
        "stage": "as_found",
        "laboratory": "Fen Measurement",
        "certificate_number": "F-1",
    }
    figures = {"reference": "0", "error": "0.3", "expanded": "0.05"}
    return "certificate_add", world.manager, world.probe, "checked_at", given | figures | {"note": "as sent"}


def event(world):
    given = {"kind": EventKind.DROPPED.value, "note": "on the tiles"}
    return "event_add", world.cook, world.probe, "at", given


def withdrawal(world):
    given = {"kind": EventKind.WITHDRAWN.value, "note": "The tip is bent."}
    return "event_add", world.cook, world.probe, "at", given


def another_event(world):
    wrong = making.event(world.probe, world.cook, EventKind.DROPPED, NOON)
    given = {"reason": "It was then.", "replace": "on", "kind": EventKind.ADJUSTED.value, "note": "by the maker"}
    return "event_void", world.supervisor, wrong, "at", given


def move(world):
    return "probe_move", world.manager, world.probe, "starts_at", {"site": world.other_site.pk, "reason": "Lent."}


def new_probe(world):
    return "probe_add", world.manager, None, "starts_at", filled(world.site, description="blue handle")


def correction(make):
    def build(world):
        check = make(world.probe, world.cook, NOON - timedelta(days=1))
        return (
            "check_correct",
            world.supervisor,
            check,
            "checked_at",
            {"reason": "Of another day.", "note": "read again"},
        )

    build.__name__ = f"correction_of_{make.__name__}"
    return build


def check_from_paper(world):
    given = {"kind": "packed_crushed", "points": ["crushed"], "stage": "as_found", "note": "from the sheet"}
    given |= {"checked_by": world.cook.pk, "readings": "30 0.1\n40 0.1\n50 0.1"}
    return "check_paper_zero", world.manager, world.probe, "checked_at", given


FORMS = [
    check_from_paper,
    certificate,
    event,
    withdrawal,
    another_event,
    move,
    new_probe,
    correction(making.good),
    correction(making.boiling),
    correction(making.certificate),
]


def recorded() -> list[int]:
    return [model.objects.count() for model in (Check, CheckVoid, Event, EventVoid, Placement, Probe)]


class Page:
    def __init__(self, world, as_person, build):
        self.name, person, about, self.field, given = build(world)
        self.client, self.url = as_person(person), reverse(self.name, args=[about.pk] if about else [])
        self.given = typed_of(self.client.get(self.url).context["form"]) | given

    def send(self, day: str, **more):
        return self.client.post(self.url, self.given | {self.field: f"{day}T11:00"} | more)


@pytest.fixture(params=FORMS, ids=lambda build: build.__name__)
def page(request, world, as_person):
    return Page(world, as_person, request.param)


def test_what_is_60_days_back_is_saved_at_once_and_a_day_more_only_once_it_is_confirmed(page):
    before = recorded()
    with undone():
        assert page.send(BORDER).status_code == 302 and recorded() != before
    answer = page.send(OLDER)
    told = answer.content.decode()
    assert SAYS in told and recorded() == before
    assert answer.context["form"].errors.keys() == {"confirmed"}
    assert all(typed in told for typed in page.given.values() if isinstance(typed, str) and " " in typed)
    assert 'name="confirmed" value="2026-01-09"' in told and f"{OLDER}T11:00" in told
    another = page.send(DAY_BEFORE, confirmed=OLDER).content.decode()  # another day is confirmed anew
    assert "Thursday 8 Jan 2026 is 62 days ago." in another and recorded() == before
    assert "checked" not in another.partition('name="confirmed"')[2][:200]
    assert page.send(OLDER, confirmed=OLDER).status_code == 302 and recorded() != before


def test_striking_out_without_putting_another_in_its_place_asks_nothing(world, as_person):
    wrong = making.event(world.probe, world.cook, EventKind.DROPPED, NOON - timedelta(days=90))
    given = {"reason": "Another probe.", "kind": wrong.kind, "at": "2025-12-11T12:00"}
    assert as_person(world.supervisor).post(reverse("event_void", args=[wrong.pk]), given).status_code == 302
    assert EventVoid.objects.exists()


def test_the_day_is_that_of_the_clock_of_the_site(world, as_person):
    type(world.site).objects.filter(pk=world.site.pk).update(time_zone="Pacific/Auckland")  # 12 March there
    given = {"kind": EventKind.DROPPED.value, "at": "2026-01-10T23:00"}
    answer = as_person(world.cook).post(reverse("event_add", args=[world.probe.pk]), given)
    assert "Saturday 10 Jan 2026 is 61 days ago." in answer.content.decode()
