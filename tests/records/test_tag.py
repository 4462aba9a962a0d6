"""The tag of a probe that may not be used: what it says for every refusal, what it is told by but colour, who may print it."""

import io

import pytest
from django.urls import reverse

from compliance.checks import drafts
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import Stage
from compliance.records.tag import ABOVE, FRAME, HEIGHT, WIDTH, Refusal, write_tag
from tests.checks import making
from tests.printed_text import words_on
from tests.records import painted
from tests.records.making import at
from tests.records.test_labels import NASTY

SEEN = ("DO NOT USE", "P1", "Alder School")


@pytest.fixture
def tag(clock, world, as_person, settings):
    clock.move_to(at(30))
    settings.ADDRESS = "https://kitchen.example"

    def print_it(person=None):
        answer = as_person(person or world.cook).get(reverse("probe_tag", args=[world.probe.pk]))
        if answer.status_code != 200:
            return answer.status_code
        return painted.read(b"".join(answer)).pages[0]

    return print_it


def failed(world):
    making.good(world.probe, world.manager, at(1))
    making.bad(world.probe, world.manager, at(9))


def showing_nothing(world):
    making.dead(world.probe, world.manager, at(9))


def failed_at_boiling(world):
    making.good(world.probe, world.manager, at(1))
    making.boiling(world.probe, world.manager, at(9), "95.0")
    making.good(world.probe, world.cook, at(10))


def put_aside(world):
    making.event(world.probe, world.manager, "withdrawn", at(9), note="Handle is loose")


def gone(world):
    making.event(world.probe, world.manager, "gone", at(9), note="Fell into the mixer")


def adjusted(world):
    making.good(world.probe, world.manager, at(1))
    making.event(world.probe, world.manager, "adjusted", at(9))


def unfinished(world):
    making.good(world.probe, world.manager, at(1))
    draft = drafts.begin(world.manager, world.probe, ICE.usual, Stage.AS_FOUND, at(9))
    draft.outside_since = at(9)
    draft.save()


REASONS = {
    failed: "Failed at zero. It is off by +2.40 °C, where ±1.0 °C is allowed.",
    showing_nothing: "Failed at zero. It gave no figure:",
    failed_at_boiling: "Failed at boiling. It is off by −3.27 °C, where ±1.0 °C is allowed.",
    put_aside: "Withdrawn from use. Handle is loose.",
    gone: "Gone: dead, lost or thrown away. Fell into the mixer.",
    adjusted: "Adjusted, and not checked since.",
    unfinished: "A check that is not finished shows a number beyond what is allowed.",
}


@pytest.mark.parametrize("happen", REASONS, ids=lambda happen: happen.__name__)
def test_it_says_since_when_why_and_who_recorded_it(happen, world, tag):
    happen(world)
    page = tag()
    said = words_on(page)
    wanted = (*SEEN, REASONS[happen], "Since 9 Mar 2026 09:00 GMT", "Recorded by Mara Holt", "by Col Esker")
    assert [told for told in wanted if told not in said] == [], f"missing in: {said}"


def test_its_code_leads_to_the_probe(world, tag):
    failed(world)
    ((text, _),) = painted.codes(tag())
    assert text == f"https://kitchen.example/probes/{world.probe.pk}/"


def test_it_is_told_by_a_shape_and_not_by_colour_alone(world, tag):
    failed(world)
    drawn = tag().get_contents().get_data().decode("latin-1")
    assert drawn.count(" c\n") + drawn.count(" c ") >= 8  # rings, as curves
    assert "0.72 0.05 0.08" in drawn


def test_there_is_none_for_a_probe_that_may_be_used_or_only_wants_a_check(world, tag):
    assert tag() == 302
    making.good(world.probe, world.manager, at(29))
    assert tag() == 302


def test_who_records_prints_it_and_the_pages_offer_it_while_it_holds(world, tag, as_person):
    failed(world)
    check = world.probe.checks.latest("checked_at")
    pages = [reverse("probe_detail", args=[world.probe.pk]), reverse("check_detail", args=[check.pk])]
    link = f'href="{reverse("probe_tag", args=[world.probe.pk])}"'

    def offered(person):
        return [link in as_person(person).get(page).content.decode() for page in pages]

    assert offered(world.cook) == [True, True] and offered(world.reader) == [False, False]
    assert (tag(world.reader), tag(world.stranger)) == (403, 404)
    making.event(world.probe, world.manager, "adjusted", at(10))
    making.good(world.probe, world.manager, at(11), stage="as_left")
    assert offered(world.cook) == [False, False]


@pytest.mark.parametrize("typed", [NASTY[0], "words " * 400, "W" * 3000, *NASTY[-6:]])
def test_nothing_that_is_typed_leaves_the_tag(typed, world, settings):
    world.probe.code, world.site.name, world.probe.site = typed[:20] or "P1", typed[:120] or "A", world.site
    out = io.BytesIO()
    write_tag(out, world.probe, Refusal(typed, at(9), typed[:80]), printed_by=typed[:80], now=at(30))
    page = painted.read(out.getvalue()).pages[0]
    height = float(page.mediabox[3])
    begun = []
    page.extract_text(visitor_text=lambda text, cm, tm, *rest: begun.append((tm[4], tm[5])) if text.strip() else None)
    left, bottom = (float(page.mediabox[2]) - WIDTH) / 2, height - ABOVE - HEIGHT
    assert all(left - 1 <= x <= left + WIDTH and bottom + FRAME <= y <= height for x, y in begun)
    ((_, code),) = painted.codes(page)
    assert all(x < code.left or y < code.bottom or y > code.top for x, y in begun)
