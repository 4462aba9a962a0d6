"""The rows that are stored are those that the facts say, whatever happened, whenever it was entered, and whatever stood still."""

from datetime import timedelta
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.core.management.base import CommandError
from hypothesis import HealthCheck, example, given, settings

from compliance.checks.timeline import recut
from compliance.plans.store import COLUMNS
from compliance.reminders.models import Reminder
from tests.reminders.play import AUTUMN, SPRING, Play, run, scripts
from tests.undone import undone

pytestmark = pytest.mark.django_db
HARD = settings(
    suppress_health_check=list(HealthCheck), max_examples=settings.default.max_examples // 10, deadline=None
)


@pytest.fixture(params=[SPRING, AUTUMN], ids=["clocks go forward", "clocks go back"])
def play(request, world) -> Play:
    with time_machine.travel(request.param, tick=False):
        recut(world.probe)
        return Play.begin(world, request.param)


@given(script=scripts)
@example([(36, "good", 23), (38, "dropped", 24), (45, "bad", 107), (188, "dropped", 14), (260, "good", 9)])
@example([(14, "withdrawn", 60), (180, "boiled", 58), (232, "late", 88), (234, "returned", 67), (309, "forget", 42)])
@example([(132, "moved", 117), (177, "patient", 45), (270, "unclear", 14), (294, "closed", 65)])
@example([(45, "moved", 42), (76, "moved", 87), (113, "patient", 10), (140, "hours", 12), (323, "moved", 94)])
@example([(29, "good", 119), (63, "closed", 110), (173, "dropped", 70), (176, "dropped", 57), (181, "void", 92)])
@HARD
def test_folded_anew_all_facts_say_what_is_stored(play, script):
    with time_machine.travel(play.began, tick=False) as clock, undone():
        run(play, script, clock, nights=True)
        said = StringIO()
        try:
            call_command("verify_due", stdout=said)
        except CommandError:
            pytest.fail(said.getvalue())


@pytest.mark.parametrize("play", [SPRING], ids=["clocks go forward"], indirect=True)
@given(script=scripts)
@HARD
def test_what_stood_still_lays_the_same_rows_as_what_ran_every_night(play, script):
    rows = []
    for nights in (True, False):
        with time_machine.travel(SPRING, tick=False) as clock, undone():
            run(play, script, clock, nights=nights)
            rows.append(play.rows())
    assert rows[0] == rows[1]


@pytest.mark.parametrize(
    "wrong", ["is asked for, and not stored", "is stored otherwise", "is stored, and not asked for"]
)
def test_what_is_stored_otherwise_is_listed(world, wrong):
    recut(world.probe)
    rows = Reminder.objects.filter(probe=world.probe).order_by("due_at")
    row = rows[len(rows) // 2]
    if wrong == "is asked for, and not stored":
        row.delete()
    elif wrong == "is stored otherwise":
        rows.filter(pk=row.pk).update(closes_at=row.closes_at - timedelta(minutes=1))
    else:
        row.pk, row.due_at = None, row.due_at + timedelta(minutes=1)
        row.save(force_insert=True)
    said = StringIO()
    with pytest.raises(CommandError, match="1 difference"):
        call_command("verify_due", stdout=said)
    assert f"probe P1, zero point, due {row.due_at:%Y-%m-%d %H:%M} UTC (every 7 days), {wrong}" in said.getvalue()


def test_a_row_is_compared_and_written_with_all_its_columns():
    assert sorted(COLUMNS) == sorted(field.attname for field in Reminder._meta.concrete_fields)
