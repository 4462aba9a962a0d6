"""The whole job in a real browser: a probe fails in the ice, what it measured is decided on, signed and printed."""

import re
from datetime import datetime
from io import BytesIO

from playwright.sync_api import Page, expect
from pypdf import PdfReader

from compliance.quarantine.models import Fate
from tests.browser.conftest import DESK, PHONE, Served
from tests.browser.ice import EARLIER, into_the_ice
from tests.printed_text import words_of

PROBE, SITE = "AL-3", "Alderbrook School Canteen"

LAST_GOOD = f"""
from compliance.checks.models import *
probe = ProbeState.objects.get(probe__code="{PROBE}")
from compliance.readings.models import Reading
since = Reading.objects.live().filter(probe__code="{PROBE}", taken_at__gt=probe.last_good_at)
print(json.dumps([probe.standing, since.count()]))
"""
DECIDED = f"""
from compliance.quarantine.models import *
rows = Decision.objects.filter(probe__code="{PROBE}").order_by("reading__taken_at")
print(json.dumps([[d.reading.taken_at.astimezone(d.reading.site.zone).isoformat(), d.reading.item, d.reading.typed, d.fate,
    d.decided_by.name] for d in rows]))
"""


def test_a_probe_fails_its_readings_are_decided_on_signed_and_printed(sign_in, served: Served):
    assert "manager@" in served.said and "supervisor@" in served.said and "reader@" in served.said
    standing, readings = served.ask(LAST_GOOD)
    assert standing == "pending" and readings > 0
    manager = sign_in("manager", PHONE, at=None)
    check_in_ice(manager, served)
    expect(manager.get_by_role("heading", level=1)).to_contain_text(PROBE)
    expect(manager.locator("main")).to_contain_text("Out of tolerance: stop using this probe.")
    open_case(manager)
    expect(manager.locator("main")).to_contain_text(f"{readings}")
    decide_on_everything(manager)
    sign(sign_in("supervisor", DESK, at=None), manager.url)
    decisions = served.ask(DECIDED)
    assert len(decisions) == readings
    printed = print_record(sign_in("reader", DESK, at=None))
    for taken_at, item, typed, fate, name in decisions:
        at = datetime.fromisoformat(taken_at)
        assert f"{at.day} {at:%b}" in printed and f"{at:%H:%M}" in printed
        assert item in printed and typed in printed and name in printed
        assert Fate(fate).label.split(":")[0] in printed
    for name in ("Petra Quill", "Marit Sandholt", PROBE, SITE):
        assert name in printed


def check_in_ice(page: Page, served: Served) -> None:
    """The guided check, as somebody with wet hands does it: a tap a step, then numbers as the display falls to +2.1."""
    page.goto("/today/")
    page.get_by_role("link", name=re.compile(PROBE)).first.click()
    page.get_by_role("link", name=re.compile("Check", re.I)).first.click()
    into_the_ice(page)
    note(page, "7.4")
    leave_and_come_back(page)
    for _ in range(30):
        served.ask(EARLIER.format(seconds=100))
        page.reload()
        note(page, "2.1")
        if page.locator("#finish-it").count():
            break
    page.locator("#finish-it").click()
    page.wait_for_url(re.compile(r"/checks/\d+/"))


def note(page: Page, text: str) -> None:
    page.locator("#value").fill(text)
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator("#read-it").click()
    page.wait_for_function("() => !document.querySelector('.htmx-request, .htmx-swapping, .htmx-settling')")


def leave_and_come_back(page: Page) -> None:
    """Leaving the page loses nothing."""
    address = page.url
    page.goto("/today/")
    page.goto(address)
    expect(page.locator("ol.taken")).to_contain_text("7.4")


def open_case(page: Page) -> None:
    page.get_by_role("link", name="See and hold the food").click()
    page.wait_for_url(re.compile(r"/quarantine/check-\d+/"))


def decide_on_everything(page: Page) -> None:
    """List by list: those whose limit held stand, the rest are thrown away. Nothing is released by default."""
    address = page.url
    for show, fate in (("broken", "discarded"), ("undecided", "discarded"), ("held", "stands")):
        page.goto(f"{address.split('?')[0]}?show={show}")
        if not page.locator("input[name=fate]").count():
            continue
        page.locator(f"input[name=fate][value={fate}]").check()
        page.get_by_text("In your own words").click()
        page.get_by_label(re.compile("Why, and what was done")).fill(
            "Taken from the counter and thrown away, two trays."
        )
        page.locator("button[name=scope][value=all]").click()
        expect(page.get_by_text(re.compile("readings? decided on"))).to_be_visible()
    page.goto(address.split("?")[0])
    expect(page.locator("main")).to_contain_text("An area supervisor has to sign the case.")


def sign(page: Page, case: str) -> None:
    page.goto(case)
    page.get_by_role("button", name="Sign as Marit Sandholt").click()
    expect(page.get_by_text("Signed. The case is closed.")).to_be_visible()


def print_record(page: Page) -> str:
    """The record of the last days as the reader prints it."""
    page.goto("/records/")
    page.get_by_label("Site", exact=True).select_option(label=SITE)
    page.get_by_label(re.compile("Last 14 days|Last 7 days")).first.check()
    with (
        page.expect_popup()
        if page.locator("form[target=_blank]").count()
        else page.expect_response("**/records/print/**") as got
    ):
        page.get_by_role("button", name=re.compile("Print|PDF")).click()
    answer = page.request.get(got.value.url)
    assert answer.headers["content-type"] == "application/pdf"
    return words_of(PdfReader(BytesIO(answer.body())))
