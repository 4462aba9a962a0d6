"""Numbers that look wrong, typed on a small phone: in the other unit, one alone beyond the tolerance, and left unfinished."""

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import Served
from tests.browser.ice import into_the_ice

SMALL = {"width": 360, "height": 640}
PROBES = """
from compliance.probes.models import Probe
mine = Probe.objects.filter(site__name="Alderbrook School Canteen", withdrawn=False).order_by("code")
print(json.dumps(list(mine.values_list("pk", flat=True))[:3]))
"""
# Nobody waits minutes for a test: the probe went in, and was last tapped on, so many seconds earlier.
EARLIER = """
from datetime import timedelta
from compliance.checks.models import CheckDraft
for draft in CheckDraft.objects.all():
    draft.inserted_at -= timedelta(seconds={seconds})
    CheckDraft.objects.filter(pk=draft.pk).update(
        inserted_at=draft.inserted_at, tapped_at=draft.tapped_at - timedelta(seconds={seconds})
    )
print(json.dumps(None))
"""
LAST = """
from compliance.checks.models import Check
check = Check.objects.filter(probe={pk}).latest("pk")
print(json.dumps([check.verdict, [[t.typed, t.unit] for t in check.timed_readings.all()], check.typing]))
"""


def test_numbers_that_look_wrong_on_a_small_phone(sign_in, served: Served):
    page = sign_in("manager", SMALL)
    fahrenheit, failing, left = served.ask(PROBES)
    typed_in_fahrenheit(page, served, fahrenheit)
    assert served.ask(LAST.format(pk=fahrenheit)) == [
        "in_tolerance",
        [["32", "F"], ["32", "F"]],
        {"unit": "F", "moved": "yes"},
    ]
    a_second_number_fails_it(page, served, failing)
    assert served.ask(LAST.format(pk=failing)) == ["out_of_tolerance", [["4.0", "C"], ["4.0", "C"]], None]
    left_it_is_kept(page, served, left)
    verdict, numbers, typing = served.ask(LAST.format(pk=left))
    assert (verdict, numbers) == ("inconclusive", [["4.0", "C"]]) and typing["unfinished"]


def typed_in_fahrenheit(page: Page, served: Served, pk: int) -> None:
    put_in(page, pk)
    note(page, "32")
    expect(page.get_by_role("heading", name="Is the display in °F?")).to_be_in_viewport()
    expect(page.locator("#unit-C")).to_be_in_viewport()
    fits(page)
    page.locator("#unit-F").click()
    expect(page.locator(".tap-unit")).to_have_text("°F")
    fits(page)
    served.ask(EARLIER.format(seconds=100))
    page.reload()
    page.locator("#same-again").click()
    page.locator("#moved-yes").click()
    page.locator("#finish-it").click()
    page.wait_for_url(re.compile(r"/checks/\d+/"))
    expect(page.locator("main")).to_contain_text("In tolerance")
    page.locator("summary", has_text="The figures").click()
    expect(page.locator("main")).to_contain_text("answered °F")
    fits(page)


def a_second_number_fails_it(page: Page, served: Served, pk: int) -> None:
    put_in(page, pk)
    served.ask(EARLIER.format(seconds=100))
    page.reload()
    note(page, "4.0")
    expect(page.locator("#now")).to_contain_text("One number fails no probe: type a second one")
    expect(page.locator("#finish-it")).to_have_count(0)
    fits(page)
    page.locator("#same-again").click()
    page.locator("#finish-it").click()
    page.wait_for_url(re.compile(r"/checks/\d+/"))
    expect(page.locator("main")).to_contain_text("Out of tolerance: stop using this probe.")


def left_it_is_kept(page: Page, served: Served, pk: int) -> None:
    put_in(page, pk)
    note(page, "4.0")
    expect(page.locator("main")).to_contain_text("Do not use the probe before this check is finished.")
    fits(page)
    page.goto("/today/")
    served.ask(EARLIER.format(seconds=15 * 60 + 1))
    page.goto(f"/probes/{pk}/check/")
    fits(page)
    page.goto(f"/probes/{pk}/")
    fits(page)
    page.locator("table a").first.click()
    expect(page.locator("main")).to_contain_text("left unfinished for 15 minutes")
    fits(page)


def put_in(page: Page, pk: int) -> None:
    page.goto(f"/probes/{pk}/check/")
    into_the_ice(page)


def note(page: Page, text: str) -> None:
    page.locator("#value").fill(text)
    page.locator("#read-it").click()
    expect(page.locator("ol.taken")).to_contain_text(text)


def fits(page: Page) -> None:
    """Nothing is wider than the phone."""
    assert page.evaluate("document.documentElement.scrollWidth") <= SMALL["width"]
