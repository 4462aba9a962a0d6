"""Without network in a real browser: pages open, what is typed is kept and shown, and is recorded once when it is back.

The same at random moments, with the browser killed too, takes long: `pytest -n0 tests/browser/long_offline.py`.
"""

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, expect

from compliance.overview.demo.setting import PASSWORD, SIGN_INS
from tests.browser.cable import Cable
from tests.browser.conftest import PHONE, Served

PROBE = "AL-5"
PLACE = f"""
from datetime import timedelta
from django.utils import timezone
from compliance.probes.models import Probe
from compliance.reminders.models import Reminder
probe, now = Probe.objects.get(code="{PROBE}"), timezone.now()
limit = probe.site.limits.get(code="chill-store")
fridge = limit.appliances.get(name="Dairy fridge")
times = {{"opens_at": 0, "due_at": 0, "grace_at": 1, "closes_at": 5}}  # after all that the demo has read
times = {{name: now + timedelta(hours=away) for name, away in times.items()}}
round = limit.rounds.first()
row = Reminder.objects.create(site=probe.site, limit=limit, appliance=fridge, round=round, because="now", **times)
print(json.dumps({{"site": probe.site_id, "probe": probe.pk, "limit": limit.pk, "line": row.pk}}))
"""
RECORDED = """
from compliance.checks.models import Check
from compliance.readings.models import Reading
kept = Reading.objects.filter(phone__isnull=False).order_by("pk")  # in order
told = list(kept.values_list("item", "typed", "appliance__name", "taken_by__name"))
last = Check.objects.filter(phone__isnull=False).order_by("pk").last()
clocks = {round(each.phone[name] / 60) for each in (*kept, last) for name in ("off_s", "said_s")}
near = all(abs((each.recorded_at - each.taken_at).total_seconds()) < 300 for each in kept)
print(json.dumps([told, [last.timed_readings.get().typed, last.verdict], near, sorted(clocks)]))
"""


@pytest.fixture
def there(served) -> dict:
    """A site, its probe, and a line of a round that is due."""
    return served.ask(PLACE)


@pytest.fixture
def cable(served) -> Iterator[Cable]:
    cable = Cable(served.address)
    yield cable
    cable.close()


@pytest.fixture
def page(chromium, cable) -> Iterator[Page]:
    """A phone on that cable. Anything that its console complains of fails the test."""
    context, complaints = chromium.new_context(viewport=PHONE, base_url=cable.address, has_touch=True), []
    page = context.new_page()
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    context.close()
    assert complaints == []


def sign_in(page: Page, who: str) -> None:
    page.get_by_label("E-mail").fill(SIGN_INS[who])
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)


KEPT = """caches.open('pages').then((pages) => pages.keys())
    .then((kept) => kept.map((each) => each.url.slice(location.origin.length)))"""


def eventually(page: Page, holds: Callable[[], bool]) -> None:
    for _ in range(150):
        if holds():
            return
        page.wait_for_timeout(100)
    pytest.fail("It did not come about in 15 s.")


def visit(page: Page, *addresses: str) -> None:
    """Until the phone has kept what these pages bring along."""
    for address in addresses:
        brought = page.goto(address).headers["noughtbook-keep"].split()
        eventually(page, lambda brought=brought: set(brought) <= set(page.evaluate(KEPT)))


AHEAD = "{ const now = Date.now.bind(Date); Date.now = () => now() + 47 * 60000; }"


def set_ahead(page: Page) -> None:
    """The clock of the phone: that of its pages and of its worker."""
    page.add_init_script(AHEAD)
    page.goto("/")
    eventually(page, lambda: bool(page.context.service_workers))
    page.context.service_workers[0].evaluate(AHEAD)


def says(page: Page, words: str) -> None:
    expect(page.locator("#kept-count")).to_have_text(words)


def test_what_is_typed_without_network_is_recorded_once_when_it_is_back(page, cable, served: Served, there):
    today, check = f"/today/{there['site']}/", f"/probes/{there['probe']}/check/"
    set_ahead(page)
    sign_in(page, "manager")
    visit(page, today, check, f"{today}round/")
    expect(page.locator("#true-time")).to_contain_text("The clock of this phone is 47 min ahead")
    page.get_by_role("button", name="That is the time").click()
    cable.cut()
    page.goto(today)
    expect(page.locator("#no-network")).to_contain_text("No network. This page is as it was at")
    take_a_reading(page, there, "Milk", "3.4")
    says(page, "Kept on this phone: 1, not in the record yet")
    take_a_line(page, today, there["line"], "4.1")
    expect(page.locator(".sheet-line [data-kept]")).to_have_text("4.1 °C · kept on this phone")
    check_alone(page, today, check, "2.4")
    says(page, "Kept on this phone: 3, not in the record yet")
    cable.mend()
    page.get_by_role("button", name="Send it now").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(PROBE)  # the check, judged
    says_nothing(page)
    expect(page.locator("#kept-told")).to_have_count(0)  # it is looked at
    readings = [["Milk", "3.4", None, "Petra Quill"], ["Dairy fridge", "4.1", "Dairy fridge", "Petra Quill"]]
    assert served.ask(RECORDED) == [readings, ["2.4", "inconclusive"], True, [47]]


def says_nothing(page: Page) -> None:
    expect(page.locator("#kept-count")).to_have_count(0)


def take_a_reading(page: Page, there: dict, item: str, typed: str) -> None:
    page.goto(f"/readings/add/?site={there['site']}")
    fill_in(page, there, item, typed)


def fill_in(page: Page, there: dict, item: str, typed: str) -> None:
    page.locator("#id_probe").select_option(value=str(there["probe"]))
    page.locator("#id_limit").select_option(value=str(there["limit"]))
    page.locator("#id_item").fill(item)
    page.locator("#id_typed").fill(typed)
    page.get_by_role("button", name="Save the reading").click()


def take_a_line(page: Page, today: str, line: int, typed: str) -> None:
    page.goto(f"{today}round/")
    page.locator(".probe-choices label", has_text=PROBE).click()
    page.locator(f"#typed-{line}").fill(typed)
    page.locator(f"#line-{line} [data-save]").click()


SLOW = """() => {
    const write = kept.write;
    kept.write = async (...it) => { await new Promise((done) => setTimeout(done, 400)); await write(...it); };
}"""


def check_alone(page: Page, today: str, check: str, typed: str) -> None:
    """What was typed is there again after the page was left, also where the phone is slow to keep it."""
    page.goto(check)
    page.evaluate(SLOW)
    page.locator("#in").click()
    page.locator("#value").fill(typed)
    page.locator("#note-it").click()
    expect(page.locator("#alone")).to_have_text("Off by more than allowed (±1.0 °C): do not use.")
    page.goto(today)
    page.get_by_role("link", name=f"Zero check of {PROBE}").click()
    expect(page.locator("#taken")).to_contain_text(typed)
    page.locator("#finish-whole").click()


def test_whoever_signs_in_next_neither_sees_the_pages_nor_sends_what_another_typed(page, cable, there):
    page.goto("/")
    sign_in(page, "manager")
    visit(page, f"/today/{there['site']}/")
    cable.cut()
    take_a_reading(page, there, "Cream", "4.6")
    says(page, "Kept on this phone: 1, not in the record yet")
    page.context.clear_cookies()  # the session is at its end
    cable.mend()
    page.goto("/")
    says(page, "Kept on this phone: 1, sent when who typed it signs in")
    eventually(page, lambda: page.evaluate(KEPT) == [])
    sign_in(page, "supervisor")
    says(page, "Kept on this phone: 0, not in the record yet; 1 of somebody else")
    page.locator("[popovertarget=person-menu]").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in/")
    sign_in(page, "manager")
    says_nothing(page)


def test_what_is_typed_on_a_phone_that_was_left_too_long_is_sent_once_somebody_says_that_it_is_theirs(
    page, cable, there
):
    page.goto("/")
    sign_in(page, "manager")
    visit(page, f"/today/{there['site']}/")
    cable.cut()
    page.goto(f"/readings/add/?site={there['site']}")
    page.evaluate("kept.note('session').then((told) => kept.write('session', {...told, used: 0}))")
    fill_in(page, there, "Curd", "4.9")
    says(page, "Kept on this phone: 1, sent when who typed it signs in")
    eventually(page, lambda: page.evaluate(KEPT) == [])
    cable.mend()
    page.goto("/phone/")
    says(page, "Kept on this phone: 1. 1 of it waits for you")
    page.get_by_role("button", name="Send it again").click()
    says_nothing(page)
