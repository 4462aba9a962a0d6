"""From `found_business` to the first recorded check, by nothing but what the pages offer."""

import re
import time
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, Served
from tests.browser.ice import EARLIER
from tests.browser.test_story import note

PASSWORD, EMAIL = "quiet-lantern-47", "sol.venn@example.test"
FOUND = f"""
import sys
from django.core.management import call_command
kept, sys.stdin = sys.stdin, io.StringIO("{PASSWORD}")
call_command("found_business", "--business", "Larkfield Kitchens", "--area", "North", "--name", "Sol Venn", "--email",
    "{EMAIL}", "--password-stdin", stdout=io.StringIO())
sys.stdin = kept
print(json.dumps(None))
"""
FINGER = 44  # CSS pixels: WCAG 2.2, 2.5.5 Target Size (Enhanced)
SMALL = """least => [...document.querySelectorAll('main :is(.button, .tick, .guide a, .empty a, .callout a, select, input)')]
    .filter(e => e.checkVisibility() && !e.closest('.tick input, .tick > *') && e.type !== 'hidden' && e.type !== 'radio'
        && e.type !== 'checkbox' && e.getBoundingClientRect().height < least)
    .map(e => `${e.textContent.trim() || e.name}: ${e.getBoundingClientRect().height}`)"""
DONE = """
from compliance.checks.models import Check
from compliance.limits.models import Limit
from sites.models import Site
print(json.dumps([[c.verdict, c.kind] for c in Check.objects.all()] + [Site.objects.get().time_zone, Limit.objects.count()]))
"""


@pytest.fixture
def founded(bare) -> Served:
    """A Noughtbook that knows one business, one area and its head."""
    bare.ask(FOUND)
    return bare


@dataclass
class Hand:
    """Somebody with a phone; counts what they do."""

    page: Page
    taps: int = 0
    typed: int = 0
    began: float = field(default_factory=time.monotonic)
    said: list[str] = field(default_factory=list)

    def tap(self, name: str, role: str = "link") -> None:
        target = self.page.get_by_role(role, name=name, exact=True).first
        target.wait_for()  # until then the page before may be going, and its successor have nothing to look at
        self.look()
        target.click()
        self.taps += 1

    def press(self, name: str) -> None:
        self.tap(name, "button")

    def type(self, label: str, text: str) -> None:
        self.page.get_by_label(label, exact=True).fill(text)
        self.typed += 1

    def choose(self, label: str, option: str) -> None:
        self.page.get_by_label(label, exact=True).select_option(label=option)
        self.taps += 2  # opening the list and choosing

    def look(self) -> None:
        """What a wet finger is to hit is large enough, and nothing lies beyond the edge."""
        assert self.page.evaluate(SMALL, FINGER) == [], self.page.url
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), self.page.url

    def now(self, step: str) -> None:
        seconds = time.monotonic() - self.began
        self.said.append(f"{step}: {self.taps} taps, {self.typed} fields, {seconds:.0f} s")


def test_a_new_head_comes_from_the_first_sign_in_to_the_first_check(chromium, founded):
    context = chromium.new_context(
        viewport=PHONE, base_url=founded.address, has_touch=True, timezone_id="America/Chicago"
    )
    page, wrong = context.new_page(), []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "response",
        lambda r: wrong.append(f"{r.status} {r.url}") if r.status >= 400 and "favicon" not in r.url else None,
    )
    page.goto("/")
    hand = Hand(page)
    sign_in(hand)
    site(hand)
    limits(hand)
    probe(hand)
    person(hand)
    plan(hand)
    hand.now("ready to check")
    check(hand, founded)
    hand.now("first check recorded")
    print("\n".join(hand.said))
    page.locator("a.brand").click()
    expect(page.get_by_role("heading", name="North")).to_be_visible()
    expect(page.get_by_text("Getting started")).to_have_count(0)
    *checks, zone, adopted = founded.ask(DONE)
    assert checks == [["in_tolerance", "zero"]] and zone == "America/Chicago" and adopted > 5
    assert wrong == []
    # Most of them are those of the check itself; a page that stops leading on adds to the count.
    assert hand.taps <= 40 and hand.typed <= 18, hand.said
    context.close()


def sign_in(hand: Hand) -> None:
    hand.type("E-mail", EMAIL)
    hand.type("Password", PASSWORD)
    hand.press("Sign in")
    expect(hand.page.get_by_text("Getting started: 0 of 6 done")).to_be_visible()
    hand.now("signed in")


def site(hand: Hand) -> None:
    hand.tap("Add a site")
    expect(hand.page.get_by_label("Time zone")).to_have_value("America/Chicago")
    hand.type("Name", "Alder School")
    hand.choose("Country (optional)", "United States")
    hand.press("Add the site")
    expect(hand.page.get_by_text("Alder School is in the book.")).to_be_visible()
    hand.now("site")


def limits(hand: Hand) -> None:
    hand.tap("Adopt rules")
    expect(hand.page.locator(".tabs a[aria-current]")).to_contain_text("US Food Code")
    hand.press("Tick all")
    hand.press("Adopt what is ticked")
    expect(hand.page.get_by_text("limits adopted.")).to_be_visible()
    hand.now("limits")


def probe(hand: Hand) -> None:
    hand.tap("Add a probe")
    hand.type("Code on its label", "K-01")
    hand.press("Tick all")
    hand.press("Add the probe")
    expect(hand.page.get_by_role("heading", level=1)).to_contain_text("K-01")
    hand.now("probe")


def person(hand: Hand) -> None:
    hand.tap("Add a person")
    hand.type("Name", "Col Esker")
    hand.type("Initials", "CE")
    hand.type("E-mail", "col.esker@example.test")
    hand.press("Add the person")
    hand.tap("I have handed it on")
    hand.now("person")


def plan(hand: Hand) -> None:
    hand.tap("Set the plan")
    hand.press("Set this plan")
    expect(hand.page.get_by_text("What is due follows it.")).to_be_visible()
    hand.now("plan")


def check(hand: Hand, served: Served) -> None:
    page = hand.page
    hand.tap("Check the probe")
    hand.press("Done: Drain it")
    expect(page.get_by_role("button", name="Done: Drain it")).to_have_count(0)
    tap(hand, "#insert")
    read(hand, "7.4")
    for _ in range(30):
        served.ask(EARLIER.format(seconds=100))
        page.reload()
        read(hand, "0.1")
        if page.locator("#finish-it").count():
            break
    tap(hand, "#finish-it")
    page.wait_for_url(re.compile(r"/checks/\d+/"))
    expect(page.locator("main")).to_contain_text("In tolerance")


def tap(hand: Hand, where: str) -> None:
    hand.page.locator(where).click()
    hand.taps += 1


def read(hand: Hand, text: str) -> None:
    note(hand.page, text)
    hand.taps, hand.typed = hand.taps + 1, hand.typed + 1


def test_a_zone_that_somebody_chose_stays_chosen(chromium, founded):
    """Also when the form comes back with an error, and where the browser is elsewhere than the site."""
    context = chromium.new_context(viewport=PHONE, base_url=founded.address, timezone_id="America/Chicago")
    hand = Hand(context.new_page())
    hand.page.goto("/")
    sign_in(hand)
    hand.tap("Add a site")
    hand.page.get_by_label("Time zone").select_option("Europe/Dublin")
    hand.press("Add the site")  # without a name
    expect(hand.page.locator(".error-summary")).to_be_visible()
    expect(hand.page.get_by_label("Time zone")).to_have_value("Europe/Dublin")
    hand.type("Name", "Alder School")
    hand.press("Add the site")
    hand.page.goto("/sites/add/")
    expect(hand.page.get_by_label("Time zone")).to_have_value("America/Chicago")
    context.close()


def test_without_a_script_nothing_is_promised_that_does_not_work(chromium, founded):
    context = chromium.new_context(viewport=PHONE, base_url=founded.address, java_script_enabled=False)
    hand = Hand(context.new_page())
    hand.page.goto("/")
    hand.look = lambda: None
    sign_in(hand)
    hand.tap("Add a site")
    expect(hand.page.get_by_label("Time zone")).to_have_value("UTC")
    hand.type("Name", "Alder School")
    hand.press("Add the site")
    hand.tap("Adopt rules")
    expect(hand.page.locator("[data-tick-all]")).to_be_hidden()
    context.close()
