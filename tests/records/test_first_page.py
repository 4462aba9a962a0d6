"""The first page answers first, and tells the same figures as the sections and as own counts over the tables."""

import io
import random
import re
from collections import Counter
from datetime import timedelta
from functools import partial

import pytest
from pypdf import PdfReader

from compliance.checks.actions import void_check
from compliance.checks.models import Check, CheckVoid, Span
from compliance.plans.models import Round
from compliance.readings import actions as readings
from compliance.readings.data import ActData
from compliance.readings.models import CorrectiveAction, Deviation, Reading, ReadingVoid
from compliance.reminders.models import Reminder
from tests.checks import making as checks
from tests.printed_text import words_on
from tests.records.making import at, scope_of, section, take, written
from tests.remembered import remembered
from tests.world import make_limit, make_probe

ROUNDS = (1, 2, 3, 4, 5, 6, 8)


def _written(seed, world) -> tuple[bytes, list[str]]:
    chance = random.Random(seed)
    world.hot = make_limit(
        world.site, by=world.manager, code="hot-holding", direction="at_least", value="63", hold_s=30
    )
    for probe in (world.probe, make_probe(world.site, "P2", by=world.manager)):
        for day in (1, 9, 17):
            make = chance.choice((checks.good, checks.good, checks.bad, checks.dead, checks.unclear))
            made = make(probe, world.cook, at(day, 7))
            if chance.random() < 0.3:
                void_check(by=world.supervisor, check=made, reason="Bath was salted")
        for day in chance.sample(range(2, 25), 8):
            _take(world, chance, probe, at(day, 12, chance.randrange(60)))
    _ask(world, chance)
    made = written(scope_of(world.site))
    return made, list(map(words_on, PdfReader(io.BytesIO(made)).pages))


BOOKS = [partial(_written, seed) for seed in range(2)]


@pytest.fixture(params=range(2))
def made(request, clock, world):
    """The record of a March of chance: probes that pass and fail, rounds done, missed and late, food that is kept or thrown
    away; and the words of its pages."""
    clock.move_to(at(30, 12))
    return remembered(BOOKS[request.param], world)


@pytest.fixture
def book(made) -> PdfReader:
    return PdfReader(io.BytesIO(made[0]))


@pytest.fixture
def words(made) -> list[str]:
    return made[1]


def _take(world, chance, probe, when) -> None:
    limit, typed = chance.choice(((world.limit, "3.1"), (world.limit, "7.2"), (world.hot, "71.0"), (world.hot, "55.5")))
    hold = {"hold_s": 60} if limit == world.hot and chance.random() < 0.5 else {}
    reading = take(world, typed, when, probe=probe, limit=limit, used_despite="No other at hand", **hold)
    if chance.random() < 0.2:
        readings.void(by=world.supervisor, reading=reading, reason="Entered twice")
    elif (found := Deviation.objects.filter(reading=reading).first()) and chance.random() < 0.7:
        fate = chance.choice(("discarded", "held", "reworked"))
        data = ActData(action="Done", cause="Lamp", disposition=fate, done_at=when, note="Nobody")
        readings.act_on_deviation(by=world.manager, deviation=found, data=data)


def _ask(world, chance) -> None:
    each = Round.objects.create(limit=world.limit, effective_from=at(1), times=["14:00"], recorded_by=world.manager)
    what = {"round": each, "limit": world.limit, "site": world.site, "recorded_at": at(1, 0)}
    for day in ROUNDS:
        due, hour = at(day, 14), timedelta(hours=1)
        times = {"opens_at": due - hour, "due_at": due, "grace_at": due + hour, "closes_at": due + 3 * hour}
        Reminder.objects.create(because="every day", **times, **what)
        if minutes := chance.choice((0, 30, 90)):
            _straight(world, due + timedelta(minutes=minutes))


def _straight(world, when) -> Reading:
    version = world.limit.versions.get()
    told = {"typed": "3.0", "unit": "C", "value_milli": 3000, "item": "Ham", "key": f"r{when.isoformat()}"}
    people = {"taken_by": world.cook, "recorded_by": world.cook}
    return Reading.objects.create(
        site=world.site, probe=world.probe, limit_version=version, taken_at=when, **told, **people
    )


def number(pattern: str, text: str) -> int:
    found = re.search(pattern, text)
    return int(found[1].replace(",", "")) if found else 0


def test_it_tells_what_own_counts_over_the_tables_tell(words):
    first = words[0]
    void = set(CheckVoid.objects.values_list("voids", flat=True))
    live = Check.objects.exclude(pk__in=void)
    for word, verdict in (("passed", "in_tolerance"), ("failed", "out_of_tolerance"), ("inconclusive", "inconclusive")):
        assert number(rf"(\d+) {word}", first) == live.filter(verdict=verdict).count()
    for pk in Check.objects.filter(verdict="out_of_tolerance").values_list("pk", flat=True):
        assert f"C{pk}" in first  # of void ones too
    taken = Reading.objects.exclude(pk__in=ReadingVoid.objects.values("voids"))
    assert number(r"Readings taken (\d+) readings?;", first) == taken.count()
    assert number(r"(\d+) void\.", first) == ReadingVoid.objects.count()
    untimed = taken.filter(limit_version__hold_s__isnull=False, hold_s=None).count()
    assert number(r"not recorded: (\d+)\.", first) == untimed
    assert _standings(first) == _own_standings(taken)
    open_ones = Deviation.objects.filter(reading__in=taken, actions=None).count()
    assert number(r"(\d+) open, nothing recorded yet", first) == open_ones
    food = Counter(CorrectiveAction.objects.filter(deviation__reading__in=taken).values_list("disposition", flat=True))
    labels = {"discarded": "discarded", "held": "held apart", "reworked": "cooked on"}
    assert {fate: number(rf"(\d+) {label}", first) for fate, label in labels.items()} == {f: food[f] for f in labels}


def _standings(first: str) -> Counter:
    return Counter({word: number(rf"(\d+) {word}", first) for word in ("proven", "pending", "quarantined", "unproven")})


def _own_standings(taken) -> Counter:
    """Each reading is looked up in the spans of its probe, one by one."""
    told = Counter()
    for reading in taken:
        spans = Span.objects.filter(
            probe=reading.probe, starts_at__lt=reading.taken_at, ends_at__gte=reading.taken_at
        ).values_list("standing", flat=True)
        told[spans[0] if spans else "unproven"] += 1
    return told + Counter()


def test_rounds_are_told_as_they_were_done_and_by_page_and_section_alike(words):
    text = " ".join(words)
    summary, planned = section(text, "Summary"), section(text, "Planned and done").split("Of ")[2]
    asked = Counter()
    for row in Reminder.objects.exclude(round=None):
        within = Reading.objects.exclude(pk__in=ReadingVoid.objects.values("voids")).filter(
            taken_at__gt=row.opens_at, taken_at__lte=row.closes_at, limit_version__limit=row.limit_id
        )
        good = within.exclude(vouched=False).order_by("taken_at").first()
        asked["missed" if good is None else "late" if good.taken_at >= row.grace_at else "done"] += 1
    told = summary.split("Readings planned")[1].split("Readings taken")[0]
    assert number(r"(\d+) readings?:", told) == len(ROUNDS) == number(r"^(\d+) readings", planned)
    assert number(r"(\d+) of them late", told) == asked["late"] == number(r"(\d+) done late", planned)
    assert number(r"(\d+) missed", told) == asked["missed"] == number(r"(\d+) missed", planned.split("Day by day")[0])
    assert number(r"(\d+) done", told) == asked["done"] + asked["late"]


def test_it_says_which_plan_is_in_force_and_that_nobody_set_one(words):
    told = words[0]
    assert "Every 7 days at 09:00: the plan that every business starts with; nobody has set another." in told
    assert "Cold holding at 14:00. In force since 1 Mar 2026, set by Mara Holt (MH)." in told


def test_what_is_open_leads_to_the_page_where_it_stands(book, words):
    pages = {page.indirect_reference.idnum: number for number, page in enumerate(book.pages, 1)}
    marks = [mark.get_object() for mark in book.pages[0]["/Annots"]]
    led = Counter(pages[mark["/Dest"][0].idnum] for mark in marks)
    shown = Counter(int(n) for n in re.findall(r"p\. (\d+)", words[0]))
    assert shown and not shown - led
