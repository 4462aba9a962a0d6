"""What waits in the outbox, as the health page tells it."""

from datetime import UTC, datetime, timedelta

import pytest

from compliance.notices.models import Notice, State
from compliance.notices.outbox_metrics import Backlog, backlog

NOW = datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def post(world):
    def write(*, made, not_before=None, state=State.WAITING, attempts=0):
        """Times in seconds from now."""
        Notice.objects.create(
            kind="failed",
            person=world.manager,
            about=f"probe:{Notice.objects.count()}",
            site=world.site,
            subject="P1",
            text="Check P1.",
            html="<p>Check P1.</p>",
            link="/",
            in_page=True,
            state=state,
            attempts=attempts,
            made_at=NOW + timedelta(seconds=made),
            not_before=None if not_before is None else NOW + timedelta(seconds=not_before),
        )

    return write


def test_nothing_waits(post):
    post(made=-900, state=State.SENT, attempts=1)
    post(made=-900, state=State.PAGE)
    post(made=-900, state=State.FAILED, attempts=12)
    assert backlog(NOW) == Backlog(None, None, 0)


def test_the_oldest_is_told(post):
    post(made=-30)
    post(made=-90)
    assert backlog(NOW) == Backlog(90, 90, 0)


def test_who_has_quiet_hours_waits_from_their_end(post):
    post(made=-20_000, not_before=3600)
    assert backlog(NOW) == Backlog(None, None, 0)
    post(made=-20_000, not_before=-20)
    assert backlog(NOW) == Backlog(20, 20, 0)


def test_what_was_turned_down_often_is_counted_while_it_waits_for_the_next_try(post):
    post(made=-500, not_before=60, attempts=2)
    assert backlog(NOW) == Backlog(500, None, 0)
    post(made=-700, not_before=240, attempts=3)
    assert backlog(NOW) == Backlog(700, None, 1)


def test_it_is_one_query(post, django_assert_num_queries):
    post(made=-30)
    with django_assert_num_queries(1):
        backlog(NOW)
