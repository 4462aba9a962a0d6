"""The settings of a book of before, when the trail alone told of their changes (see migrating.py)."""

import pytest

from tests.old_states import on_its_own
from tests.sites.migrating import brought_up_to_date

WHY = "As its maker says."


@pytest.fixture
def book(empty_database_url, django_db_blocker):
    with django_db_blocker.unblock(), on_its_own(empty_database_url):
        return brought_up_to_date()


def test_what_was_set_and_when_is_written_as_the_trail_tells_it(book):
    assert all(told["is_recorded"] and told["former"] for name, told in book.items() if name != "known")
    site, business, changed, plain = (book[name] for name in ("Alder Annexe", "Larkfield Kitchens", "P3", "Q1"))
    assert site["facts"] == [[1, 1, ""], [2, 1, WHY], [4, 1, WHY]]
    assert site["then"][1] == ["Alder School", "Alder Annexe", "Alder Annexe", "Alder Annexe"]
    assert site["then"][3] == ["Europe/London", "Europe/London", "Europe/Dublin", "Europe/Dublin"]
    assert book["known"] == [["North", False], ["South", False], ["South", True]]
    assert business["facts"] == [[3, None, ""], [3, 1, WHY]]
    assert business["then"][1] == ["non_binary", "non_binary", "guarded", "guarded"]
    assert changed["facts"] == [[2, 1, ""], [3, 1, WHY], [6, 1, WHY]]
    assert changed["then"][0] == ["P1", "P1", "P2", "P3"]
    assert len(plain["facts"]) == 1 and plain["facts"][0][1:] == [None, ""] and plain["then"][0] == ["Q1"] * 4
