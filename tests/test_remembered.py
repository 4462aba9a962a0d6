"""What is put back is what was built, row by row."""

from django.db import transaction

from tests.checks.making import bad, day, good
from tests.remembered import all_rows, remembered


def checked(world) -> None:
    good(world.probe, world.cook, day(0))


def failed(world) -> int:
    return bad(world.probe, world.cook, day(9)).pk


def checked_and_failed(world) -> tuple:
    """The second state changes and takes away rows of the first, such as those of spans and of what is due."""
    remembered(checked, world)
    return remembered(failed, world), all_rows()


def test_a_state_on_a_state_is_put_back_as_it_was_built(clock, world):
    with transaction.atomic():
        built = checked_and_failed(world)
        transaction.set_rollback(True)
    assert checked_and_failed(world) == built
    assert len(built[1]["checks_span"]) == 3
