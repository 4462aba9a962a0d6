"""Rows of before they lay ahead stay, with reasons and excuses; what is to come is derived from then on (see migrating.py)."""

from tests.old_states import on_its_own
from tests.plans.migrating import stages


def test_what_is_stored_stands_and_rows_are_laid_ahead_of_it(empty_database_url, django_db_blocker, clock):
    with django_db_blocker.unblock(), on_its_own(empty_database_url):
        migrated, settled, checked = stages()
    assert migrated["rows"] == [
        [-4.0, "zero", "", 0, True, True],
        [-3.0, "zero", "", 1, True, True],
        [-2.0, "zero", "withdrawn from use", 0, True, True],
        [-1.0, "zero", "", 0, True, True],
        [-0.5, "boiling", "", 0, True, True],
        [0.0, "zero", "", 0, True, True],
    ]
    assert (migrated["ahead"], migrated["waiting"]) == (0, 1)
    assert settled == {"same": True, "ahead": [False], "rows": 41, "ends": True, "said": "No difference.", "waiting": 0}
    assert checked == {"same": True, "due": True}
