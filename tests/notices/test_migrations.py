"""The outbox of before, when senders held leases (see migrating.py)."""

from tests.notices.migrating import there_and_back
from tests.old_states import on_its_own


def test_what_was_leased_is_claimed_and_all_else_stays_as_it_was(empty_database_url, django_db_blocker):
    with django_db_blocker.unblock(), on_its_own(empty_database_url):
        forwards, back = there_and_back()
    assert forwards["notified"] == [("failed", 7)]
    assert forwards["notices"] == [
        ["failed", "failed", 2, 1, None],
        ["leased", "waiting", 3, 3, "2026-01-14T12:00:00+00:00"],
        ["needless", "needless", 2, 1, None],
        ["page", "page", 2, 1, None],
        ["sent", "sent", 2, 1, None],
        ["waiting", "waiting", 2, 1, None],
    ]
    assert back == [("leased", 3, "")]
