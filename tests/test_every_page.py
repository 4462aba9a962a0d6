"""Every page opens and writes nothing; none goes through all readings, checks or reminders, and none visits more rows because
other sites have a longer history. What people typed is text wherever it is shown, and what was written tells of the name of its
time.

One walk for all of these questions (tests/walk.py): a supervisor looks at each address and each choice that its page offers,
beside 12,000 readings of other sites with checks, spans, cases and reminders to match. What that asked of the database is asked
once more beside 1,000.
"""

import re
from http.cookies import SimpleCookie

import pytest
from django.conf import settings
from django.db import connection, transaction

from compliance.advice import queries as advice
from shared.seal import seal_of
from tests import everything, markup
from tests import walk as walking
from tests.walk import FEW, NEW, OLD, TURN, Asked, Walk

MORE = 1.2  # times as many rows
SLACK = {"postgresql": 100, "sqlite": 2000}  # rows; steps
ADDRESSES = [name for name, _ in everything.ADDRESSES]
FOR_THE_WHOLE_BUSINESS = {"business_edit", "plan_business"}
# Who somebody is now: pages about people. (What a form lets one choose from is taken out.)
OF_NOW = {
    "people",
    "person_edit",
    "person_name",
    "person_password",
    "person_stop",
    "role_add",
    "role_remove",
    "new_password",
}
COOK, MANAGER, SUPERVISOR = OLD
FIRST = "|".join(name.split()[0] for name in OLD)
# Whom a page names of those who wrote what it shows.
WROTE = {
    "appliance_list": [COOK],
    "case_detail": [SUPERVISOR],
    "check_detail": [COOK],
    "deviation_detail": [COOK, MANAGER],
    "feed_list": [MANAGER],
    "import_detail": [MANAGER],
    "limit_detail": [MANAGER],
    "plan_list": [MANAGER],
    "probe_detail": [COOK, MANAGER, SUPERVISOR],
    "probe_outlook": [MANAGER],
    "reading_detail": [COOK],
    "review_sheet": [COOK, SUPERVISOR],
    "site_devices": [MANAGER],
}


@pytest.fixture(scope="module")
def walk(django_db_setup, django_db_blocker):
    """Many other sites are there until all was looked at."""
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patched:
        # A few sites have as many, so that whatever is read beyond them is seen.
        patched.setattr(advice, "MOST_ALIKE", FEW - 2)
        yield Walk(*walking.build())
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def walked(walk, django_db_blocker):
    with django_db_blocker.unblock():
        walk.open_each(ADDRESSES)
        walk.open_choices()
        walk.leave_few()
        walk.open_as_head(FOR_THE_WHOLE_BUSINESS)
    return walk


@pytest.mark.parametrize("half", [0, 1])
def test_every_page_opens_for_a_supervisor(half, walk, django_db_blocker):
    """Or it is for posts alone, or nothing is new to a part of a page that asks again. Health says that no schedule is kept."""
    with django_db_blocker.unblock():
        walk.open_each(names := ADDRESSES[half::2])
    closed = {name: walk.opened[name] for name in names if walk.opened[name] not in {200, 204, 302, 405}}
    otherwise = {"health": 503} | dict.fromkeys(FOR_THE_WHOLE_BUSINESS, 403)
    assert closed == {name: status for name, status in otherwise.items() if name in names}


def test_every_other_address_than_those_of_files_is_that_of_a_page(walked):
    assert set(ADDRESSES) - walked.pages.keys() == everything.FILES
    assert {walked.pages[name].status for name in FOR_THE_WHOLE_BUSINESS} == {200}


def test_looking_writes_nothing(walked):
    assert walked.written == {}


def test_no_page_goes_through_all_that_was_ever_recorded(walked):
    found = {
        address: [asked.statement.sql for asked in each if asked.plan.scans()]
        for page in walked.found.values()
        for address, each in page.items()
    }
    assert {address: statements for address, statements in found.items() if statements} == {}


def test_no_page_visits_more_because_other_sites_have_a_longer_history(walked):
    pages = {address: each for page in walked.found.values() for address, each in page.items()}
    assert len(pages) > len(ADDRESSES)
    assert {address: grown(each) for address, each in pages.items() if has_grown(each)} == {}


def test_no_page_makes_markup_of_what_was_typed(walked):
    strange = {name: markup.strange_in(page.html, seal_of(page.person)) for name, page in walked.pages.items()}
    assert {name: found for name, found in strange.items() if found} == {}
    assert sum("&lt;zq" in page.html for page in walked.pages.values()) >= 60


def test_no_form_sent_with_markup_makes_markup_of_it(walked, django_db_blocker):
    """It comes back with what is wrong, or leads on to what was done. Each engine is sent every other one."""
    forms, strange, shown = markup.forms_on(walked.pages.values()), {}, set()
    with django_db_blocker.unblock():
        clients = {person: walking.signed_in(person) for person in {page.person for page, *_ in forms.values()}}
        sessions = {person: client.cookies[settings.SESSION_COOKIE_NAME].value for person, client in clients.items()}
        for form in list(forms)[TURN[connection.vendor] :: 2]:  # in the order of the pages, which is the same on both
            page, *sent = forms[form]
            client = clients[page.person]
            client.cookies = SimpleCookie({settings.SESSION_COOKIE_NAME: sessions[page.person]})
            strange[form] = markup.strange_in(markup.shown_to(client, *sent, shown), seal_of(page.person))
    assert {form: found for form, found in strange.items() if found} == {}
    assert len(forms) > 80 and len(strange) > 40 and len(shown) > 10


def test_no_page_of_what_was_written_gives_a_name_that_came_later(walked):
    found = dict(walked.named())
    assert {name for name, page in found.items() if re.search(f"({FIRST}) {NEW}", page)} == OF_NOW
    named = {name: [old for old in OLD if old in found[name]] for name in found.keys() - OF_NOW}
    assert {name: names for name, names in named.items() if names} == WROTE


def has_grown(page: list[Asked]) -> bool:
    few, many = sum(each.few for each in page), sum(each.plan.history for each in page)
    return many > MORE * few + SLACK[connection.vendor]


def grown(page: list[Asked]) -> list[str]:
    """Which statements did, the worst first."""
    worst = sorted((each for each in page if each.grown > 0), key=lambda each: -each.grown)
    return [f"{each.few} → {each.plan.history}: {each.statement.sql}" for each in worst[:3]]
