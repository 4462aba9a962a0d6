import pytest

from tests.checks.making import day


@pytest.fixture
def soon_after(clock):
    """The checks of these tests were made a few days ago."""
    clock.move_to(day(9))
