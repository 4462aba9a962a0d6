"""Numbers that look wrong, typed on a small phone: in the other unit, one alone beyond the tolerance, and left unfinished."""

import re

from playwright.sync_api import Page, TimeoutError, expect

from tests.browser.conftest import PHONE, Served
from tests.browser.ice import EARLIER, into_the_ice

SMALL = {"width": 360, "height": 640}
PROBES = """
from compliance.probes.models import Probe
mine = Probe.objects.filter(site__name="Alderbrook School Canteen", withdrawn=False).order_by("code")
print(json.dumps(list(mine.values_list("pk", flat=True))[:3]))
"""
LAST = """
from compliance.checks.models import Check
check = Check.objects.filter(probe={pk}).latest("pk")
print(json.dumps([check.verdict, [[t.typed, t.unit] for t in check.timed_readings.all()], check.typing]))
"""


# A round that falls due just now, whatever the hour of the day is, and alone: rows as the fold makes them. A reading has the time
# of its second: those of the second in which a row opens are of the round before it, so that second is waited out.
DUE = """
from datetime import timedelta
from time import sleep
from django.db.models import F
from django.utils import timezone
from compliance.plans.models import Reminder
from compliance.reminders import planning
from sites.models import Site
site = Site.objects.get(name="Alderbrook School Canteen")
limit = site.limits.get(code="chill-store")
asks = limit.rounds.first()
for number in range({count} - site.appliances.filter(name__startswith="Fridge").count()):
    planning.add_appliance(by=asks.recorded_by, limit=limit, name=f"Fridge {{number}}")
now, hour = timezone.now().replace(microsecond=0), timedelta(hours=1)
rounds = Reminder.objects.filter(site=site, limit__isnull=False)
rounds.filter(due_at__lte=now, closes_at__gt=now).update(closes_at=now)
# What opens within the hour would be asked for before the round is through.
put_off = {{name: F(name) + timedelta(minutes=61) for name in ("due_at", "grace_at", "closes_at")}}
rounds.filter(due_at__gt=now, opens_at__lt=now + hour).update(opens_at=F("due_at") + timedelta(minutes=61), **put_off)
given = dict(site=site, limit=limit, round=asks, recorded_at=now, because="now")
times = dict(due_at=now, opens_at=now, grace_at=now + hour, closes_at=now + 2 * hour)
for appliance in site.appliances.filter(name__startswith="Fridge").order_by("name")[:{count}]:
    Reminder.objects.create(appliance=appliance, **given, **times)
while timezone.now().replace(microsecond=0) <= now:
    sleep(0.05)
print(json.dumps(None))
"""
FOUND = """
from compliance.readings.models import CorrectiveAction, Reading
lately = Reading.objects.filter(appliance__name__startswith="Fridge").order_by("pk")
acts = CorrectiveAction.objects.filter(deviation__reading__in=lately)
names = ("appliance__name", "typed", "probe__code")
print(json.dumps([list(lately.values_list(*names)), list(acts.values_list("action", "cause", "disposition"))]))
"""


def test_numbers_that_look_wrong_on_a_small_phone(sign_in, served: Served):
    page = sign_in("manager", SMALL, at=None)
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


class Taps:
    """What somebody taps, counted from the page of signing in; numbers are typed, each ended by Enter."""

    def __init__(self, page: Page):
        self.page, self.count = page, 1  # Sign in

    def tap(self, element) -> None:
        element.tap()
        self.count += 1

    def begin(self) -> None:
        self.tap(self.page.get_by_role("link", name=re.compile("Record the round")))
        expect(self.page.locator("[data-sheet]")).to_be_visible()
        fits(self.page)
        self.tap(self.page.locator(".probe-choices label", has_text="AL-1"))

    def type(self, number: str) -> None:
        self.page.keyboard.type(number)
        self.page.keyboard.press("Enter")

    def back(self) -> None:
        try:
            self.page.wait_for_url(re.compile(r"/today/\d+/$"))
        except TimeoutError:
            raise AssertionError(f"Not led back from: {self.page.locator('body').inner_text()}") from None
        expect(self.page.locator("#messages")).to_contain_text("The round is recorded")


def test_a_round_takes_few_taps(sign_in, served: Served):
    """The goals of a round: six appliances in 4 taps, one in 4, a breach with what was done about it in 7 and no free text."""
    numbers = ["3.1", "3.2", "2.9", "4.0", "3.7", "4.4"]
    assert a_round(sign_in, served, numbers).count <= 4
    assert a_round(sign_in, served, ["3.5"]).count <= 4
    assert a_round(sign_in, served, ["9.4"], breach=True).count <= 7
    read, acts = served.ask(FOUND)
    expected = [*(f"Fridge {n}" for n in range(6)), "Fridge 0", "Fridge 0"]
    assert read == [[name, typed, "AL-1"] for name, typed in zip(expected, [*numbers, "3.5", "9.4"], strict=True)]
    assert acts == [["Moved the food to a unit that holds", "Door left open", "moved"]]


def a_round(sign_in, served: Served, numbers: list[str], *, breach: bool = False) -> Taps:
    served.ask(DUE.format(count=len(numbers)))
    taps = Taps(sign_in("manager", PHONE))
    taps.begin()
    for number in numbers:
        taps.type(number)
    if breach:
        for words in ("Moved the food to a unit that holds", "Door left open", "Moved to a unit that holds"):
            taps.tap(taps.page.locator(".chips label", has_text=words))
        fits(taps.page)
        taps.tap(taps.page.get_by_role("button", name="Record what was done"))
    taps.back()
    return taps


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
