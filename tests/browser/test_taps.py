"""How many taps, and Tabs, a check costs in a kitchen from the page where one signs in: it fails when a count grows.

Every tap presses what the page offers. Typing a number is none, sending it is.
"""

from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect

from compliance.overview.demo.setting import PASSWORD, SIGN_INS
from tests.browser.conftest import DESK, PHONE, Served

CRUSHED, CUBES, TABS = 7, 6, 15
A_LIST_DECIDED = 3  # the list, what is decided, and for all of it
BATH, A_PROBE = 6, 2
SOONER = 500  # ms; what is tapped sooner on the next probe of a bath is the second tap of a wet finger
SITE = "Alderbrook School Canteen"
ALL_DUE = f"""
from django.utils import timezone
from compliance.checks.actions import record_event
from compliance.probes.models import Probe
from sites.models import Person
by = Person.objects.get(email="{SIGN_INS["manager"]}")
for probe in Probe.objects.filter(site__name="{SITE}", withdrawn=False):
    record_event(by=by, probe=probe, kind="dropped", at=timezone.now(), note="")
print(json.dumps([p.code for p in Probe.objects.filter(site__name="{SITE}", withdrawn=False).exclude(
    state__standing="quarantined").order_by("code")]))
"""
A_WHILE_LATER = """
from datetime import timedelta
from django.db.models import F
from compliance.checks.models import CheckDraft
print(json.dumps(CheckDraft.objects.filter(readings=[]).update(inserted_at=F("inserted_at") - timedelta(seconds=95))))
"""


@dataclass
class Counted:
    """Somebody at a page, with what they have pressed so far; signing in is the first tap."""

    page: Page
    count: int = 1

    def tap(self, name: str | None = None, where: str = "") -> None:
        self._found(name, where).click()
        self.count += 1

    def type(self, number: str) -> None:
        self.page.locator("#value").fill(number)
        self.tap(where="#read-it")

    def _found(self, name: str | None, where: str) -> Locator:
        by_name = self.page.locator(f'a[aria-label="{name}"], button[aria-label="{name}"]').first
        return self.page.locator(where) if where else by_name

    def tab_to(self, where: str) -> None:
        """Press Tab until it has the focus."""
        for _ in range(40):
            if self.page.evaluate("where => document.activeElement.matches(where)", where):
                return
            self.page.keyboard.press("Tab")
            self.count += 1
        raise AssertionError(f"{where} is not reached by Tab")


def test_a_check_costs_no_more_taps_than_it_did(sign_in, chromium, served: Served):
    due = served.ask(ALL_DUE)
    hands, stirring = (Counted(sign_in("manager", PHONE)) for _ in range(2))
    typing = Counted(chromium.new_context(viewport=DESK, base_url=served.address).new_page(), 0)
    listed = hands.page.locator("li.work:has(.work-action) .work-title").all_text_contents()
    keys, crushed, cubes, *_ = (code for title in listed for code in due if title.startswith(code))
    put_in_crushed_ice(hands, crushed)
    put_among_cubes(stirring, cubes)
    put_in_by_keyboard(typing, keys)
    served.ask(A_WHILE_LATER)
    finish(hands)
    finish(stirring)
    finish_by_keyboard(typing)
    ahead = next(
        place for place, title in enumerate(listed) if title.startswith(keys)
    )  # rounds that are due at this hour
    assert hands.count <= CRUSHED and stirring.count <= CUBES and typing.count - ahead <= TABS


def test_a_bath_for_several_costs_no_more_taps_than_it_did(sign_in, served: Served):
    served.ask(ALL_DUE)
    bath = Counted(sign_in("manager", PHONE))
    probes = all_in_one_bath(bath)
    served.ask(A_WHILE_LATER)
    finish_all(bath, probes)
    assert probes > 1 and bath.count <= BATH + A_PROBE * probes


def test_a_list_of_readings_is_decided_on_with_no_more_taps_than_it_was(sign_in):
    bulk = Counted(sign_in("manager", PHONE, at=None), 0)
    assert decide_in_bulk(bulk) > 1 and bulk.count <= A_LIST_DECIDED


def check_now(counted: Counted, code: str) -> None:
    counted.page.locator("li.work", has_text=code).locator(".work-action").first.click()
    counted.count += 1


def put_in_crushed_ice(hands: Counted, code: str) -> None:
    check_now(hands, code)
    hands.tap("Done: Drain it")
    expect(hands.page.locator('[aria-label="Done: Drain it"]')).to_have_count(0)
    hands.tap(where="#insert")
    expect(hands.page.locator("#value")).to_be_focused()
    all_in_sight_above_the_keyboard(hands.page)


def all_in_sight_above_the_keyboard(page: Page) -> None:
    """At 360 by 640, of which the keyboard of the phone takes 270."""
    page.set_viewport_size({"width": 360, "height": 370})
    for where in ("#now", "#value", "#read-it"):
        expect(page.locator(where)).to_be_in_viewport(ratio=1)
    expect(page.locator("#now")).to_contain_text("left")
    covered = page.locator("#now").bounding_box()
    assert covered["y"] + covered["height"] <= page.locator("#value").bounding_box()["y"]
    page.set_viewport_size(PHONE)


def put_among_cubes(hands: Counted, code: str) -> None:
    check_now(hands, code)
    hands.tap(where="#insert-stirred_cubes")
    expect(hands.page.locator("#read")).to_be_visible()


def finish(hands: Counted) -> None:
    hands.type("0.1")
    hands.tap(where="#moved-yes")
    hands.tap(where="#finish-it")
    expect(hands.page.locator(".verdict")).to_contain_text("In tolerance")


def put_in_by_keyboard(keys: Counted, code: str) -> None:
    keys.page.goto("/")
    keys.tab_to("[name=username]")
    keys.page.keyboard.type(SIGN_INS["manager"])
    keys.tab_to("[name=password]")
    press(keys, PASSWORD, "Enter")
    keys.page.wait_for_url("**/today/*/")
    keys.tab_to(".skip")
    press(keys, "", "Enter")
    keys.tab_to(f'[aria-label*="{code}"].work-action')
    press(keys, "", "Enter")
    keys.page.wait_for_url("**/check/")
    keys.tab_to('[aria-label="Done: Drain it"]')
    press(keys, "", "Enter")
    expect(keys.page.locator('[aria-label="Done: Drain it"]')).to_have_count(0)
    led_on(keys)
    keys.tab_to("#insert")
    press(keys, "", "Enter")
    expect(keys.page.locator("#value")).to_be_focused()


def led_on(keys: Counted) -> None:
    """The page has moved the focus to what comes next, as it does just after the step before is gone."""
    expect(keys.page.locator(":focus")).to_have_count(1)


def press(keys: Counted, text: str, key: str) -> None:
    keys.page.keyboard.type(text)
    keys.page.keyboard.press(key)


def finish_by_keyboard(keys: Counted) -> None:
    press(keys, "0.1", "Enter")
    expect(keys.page.locator("#moved-question")).to_be_focused()
    keys.tab_to("#moved-yes")
    press(keys, "", "Enter")
    expect(keys.page.locator("#finish-it")).to_be_visible()
    led_on(keys)
    keys.tab_to("#finish-it")
    press(keys, "", "Enter")
    expect(keys.page.locator(".verdict")).to_contain_text("In tolerance")
    keys.page.context.close()


def all_in_one_bath(hands: Counted) -> int:
    hands.tap(where="a[href$='/together/']")
    probes = hands.page.locator("[name=probes]").count()
    hands.tap(where="[value=packed_crushed]")
    hands.tap("Done: Drain it")
    expect(hands.page.locator('[aria-label="Done: Drain it"]')).to_have_count(0)
    for done in range(1, probes + 1):
        hands.page.wait_for_timeout(SOONER)
        hands.tap(where="#insert")
        expect(hands.page.locator(".together-in")).to_have_count(done)
    return probes


def finish_all(hands: Counted, probes: int) -> None:
    for left in range(probes - 1, -1, -1):
        hands.type("0.1")
        expect(hands.page.locator(".together", has_text="noted")).to_be_visible()
        expect(hands.page.locator(".together span", has_text="in the ice")).to_have_count(left)
    hands.tap(where="#bath-fell")
    expect(hands.page.locator("#finish-bath")).to_be_visible()
    hands.page.wait_for_timeout(SOONER)
    hands.tap(where="#finish-bath")
    expect(hands.page.locator("#messages")).to_contain_text(f"{probes} probes checked, all in tolerance.")


def decide_in_bulk(hands: Counted) -> int:
    """From the page of a case, with nothing to scroll: gives how many readings are decided on."""
    page = hands.page
    page.goto("/quarantine/")
    page.locator("main a[href^='/quarantine/check-']").first.click()
    listed = page.locator(".tile", has_text="limit held")
    readings = int(listed.locator(".tile-value").inner_text())
    for where in (".tile a[href$='held']", ".decide .tick:has([value=stands])", ".decide-bar [value=all]"):
        expect(page.locator(where)).to_be_in_viewport(ratio=1)
        hands.tap(where=where)
    expect(page.locator("#messages")).to_contain_text(f"{readings} readings decided on.")
    return readings
