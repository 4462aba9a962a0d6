import pytest

from tests.checks.making import day


@pytest.fixture(autouse=True)
def in_march(clock):
    """A check of January that is entered on the day on which the tests run lays a row for each week since."""


@pytest.fixture
def soon_after(clock):
    """The checks of these tests were made a few days ago."""
    clock.move_to(day(9))
