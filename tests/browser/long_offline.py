"""The network cut at random moments and the browser killed at others: nothing is lost, nothing is recorded twice.

It takes long, so no run collects it by itself: `pytest -n0 -s tests/browser/long_offline.py`, with `--engine postgres` for the
other engine. It prints what it counted.
"""

import contextlib
import os
import random
import shutil
import signal
import subprocess
import threading
import time
from collections import Counter
from pathlib import Path

import pytest
from playwright.sync_api import Error, Page, sync_playwright

from tests.browser.cable import Cable
from tests.browser.conftest import FLAGS, Served
from tests.world import PASSWORD

CUTS, KILLS = 100, 20
LONGEST = 2.5  # seconds into an act at which the network is cut or the browser killed, at the latest
MAKE = """
from datetime import timedelta
from django.utils import timezone
from compliance.plans.actions import set_round
from compliance.plans.data import RoundData
from compliance.reminders.models import Reminder
from compliance.reminders.planning import add_appliance
from tests.checks.making import good
from tests.world import World
world, now = World.build(), timezone.now()
good(world.probe, world.cook, now - timedelta(hours=3))
data = RoundData(times=[(now - timedelta(hours=1)).time().replace(microsecond=0)], grace_minutes=60)
round, lines = set_round(by=world.manager, limit=world.limit, data=data), []
for number in range(60):
    appliance = add_appliance(by=world.manager, limit=world.limit, name=f"Fridge {number}")
    times = {"opens_at": -1, "due_at": -0.5, "grace_at": 20, "closes_at": 40}
    times = {name: now + timedelta(hours=away) for name, away in times.items()}
    row = Reminder.objects.create(site=world.site, limit=world.limit, appliance=appliance, round=round, because="now", **times)
    lines.append([row.pk, appliance.name])
print(json.dumps({"site": world.site.pk, "probe": world.probe.pk, "limit": world.limit.pk, "lines": lines,
    "who": world.cook.email}))
"""
FOUND = """
from compliance.checks.models import Check
from compliance.readings.models import Reading
print(json.dumps([list(Reading.objects.values_list("item", flat=True)),
    list(Check.objects.exclude(note="").values_list("note", flat=True)),
    Reading.objects.filter(phone__isnull=False).count(), Check.objects.filter(phone__isnull=False).count()]))
"""


class Phone:
    """A browser with a profile of its own, which a kill leaves as it is."""

    def __init__(self, playwright, profile: Path):
        self._playwright, self._profile, self.complaints = playwright, profile, []
        self.page: Page | None = None

    def start(self) -> None:
        port = self._profile / "DevToolsActivePort"
        port.unlink(missing_ok=True)
        path = shutil.which("chromium") or shutil.which("google-chrome")
        flags = [
            "--headless=new",
            "--remote-debugging-port=0",
            f"--user-data-dir={self._profile}",
            *FLAGS,
            "about:blank",
        ]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self._process = subprocess.Popen([path, *flags], start_new_session=True, **quiet)
        while not (port.exists() and port.read_text().count("\n")):
            time.sleep(0.1)
        self._browser = self._playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port.read_text().split()[0]}")
        self.page = self._browser.contexts[0].new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type == "error" else None)

    def kill(self) -> None:
        os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()


class Story:
    """What somebody does, act by act, and what of it they were told is kept or recorded."""

    def __init__(self, served: Served, cable: Cable, phone: Phone, there: dict):
        self.served, self.cable, self.phone, self.there = served, cable, phone, there
        self.chance, self.number, self.told, self.tapped = random.Random(2026), 0, set(), set()
        self.lines = list(there["lines"])
        self.said = Counter()

    @property
    def page(self) -> Page:
        return self.phone.page

    def open(self, path: str) -> None:
        self.page.goto(self.cable.address.rstrip("/") + path)

    def sign_in(self) -> None:
        """With network; and until the phone has kept the pages of the day."""
        self.open("/")
        if "sign-in" in self.page.url:
            self.page.get_by_label("E-mail").fill(self.there["who"])
            self.page.get_by_label("Password", exact=True).fill(PASSWORD)
            self.page.get_by_role("button", name="Sign in").click()
            self.page.wait_for_url(lambda url: "sign-in" not in url)
        for path in (f"/today/{self.there['site']}/", f"/probes/{self.there['probe']}/check/"):
            self.open(path)
        while self.page.evaluate("caches.open('pages').then((pages) => pages.keys()).then((kept) => kept.length)") < 4:
            self.page.wait_for_timeout(200)

    def act(self) -> None:
        self.number += 1
        kind = self.chance.choices(("reading", "line", "check"), (6, 2, 2))[0]
        self.said[kind] += 1
        getattr(self, kind)()

    def reading(self) -> None:
        item = f"Milk {self.number}"
        self.open(f"/readings/add/?site={self.there['site']}")
        for name in ("probe", "limit"):
            self.page.locator(f"#id_{name}").select_option(value=str(self.there[name]))
        self.page.locator("#id_item").fill(item)
        self.page.locator("#id_typed").fill(f"{self.chance.randint(10, 45) / 10}")
        self.tapped.add(item)
        self.page.get_by_role("button", name="Save").click()
        self.page.wait_for_url(lambda url: "/readings/add/" not in url)
        self.told.add(item)

    def line(self) -> None:
        pk, item = self.lines.pop()
        self.open(f"/today/{self.there['site']}/round/")
        line = self.page.locator(f"#line-{pk}")
        self.page.locator("[name=probe]").first.check()
        line.locator("[data-number]").fill(f"{self.chance.randint(10, 45) / 10}")
        self.tapped.add(item)
        line.locator("[data-save]").click()
        line.get_by_role("status").wait_for()
        self.told.add(item)

    def check(self) -> None:
        note = f"Check {self.number}"
        self.open(f"/probes/{self.there['probe']}/check/whole/")
        self.page.wait_for_timeout(150)
        if self.page.locator("#in").is_visible():
            self.page.locator("#in").click()
        self.page.locator("details:has(#note) > summary").click()
        self.page.locator("#note").fill(note)
        for number in ("3.1", "0.1"):
            self.page.locator("#value").fill(number)
            self.page.locator("#note-it").click()
        self.tapped.add(note)
        self.page.locator("#finish-whole").click()
        self.page.wait_for_url(lambda url: "/check/whole/" not in url)
        self.told.add(note)

    def struck(self, strike) -> None:
        """One act, with the strike at a random moment of it."""
        timer = threading.Timer(self.chance.uniform(0, LONGEST), strike)
        timer.start()
        with contextlib.suppress(Error):
            self.act()
        timer.join()

    def sent(self) -> None:
        """The network is back: all that is kept is sent, of its own accord."""
        self.cable.mend()
        self.open(f"/today/{self.there['site']}/")
        for _ in range(300):
            acts = self.page.evaluate("kept.acts()")
            if not acts or acts[0]["state"] != "waiting":
                break
            self.page.wait_for_timeout(200)
        assert acts == []

    def judge(self) -> Counter:
        items, notes, *kept = self.served.ask(FOUND)
        recorded = Counter(items + notes)
        assert [name for name, times in recorded.items() if times > 1] == [], "doubled"
        assert self.told - recorded.keys() == set(), "lost"
        counted = Counter(tapped=len(self.tapped), told=len(self.told), recorded=len(recorded))
        return counted + Counter(dict(zip(("readings kept", "checks kept"), kept, strict=True)))


@pytest.fixture
def story(bare, tmp_path):
    cable = Cable(bare.address)
    with sync_playwright() as playwright:
        phone = Phone(playwright, tmp_path / "profile")
        phone._profile.mkdir()
        phone.start()
        yield Story(bare, cable, phone, bare.ask(MAKE))
        phone.kill()
    cable.close()


def test_the_network_is_cut_at_a_hundred_moments_and_the_browser_killed_at_twenty(story: Story):
    story.sign_in()
    for number in range(CUTS):
        story.struck(story.cable.cut)
        if story.chance.random() < 0.3:
            story.act()  # another one, all of it without network
        if number % 10 == 9 or story.chance.random() < 0.3:
            story.sent()
    story.sent()
    print("\ncuts:", dict(story.judge()), dict(story.said))
    for _ in range(KILLS):
        if story.chance.random() < 0.5:
            story.cable.cut()
        story.struck(story.phone.kill)
        story.phone.start()
        story.cable.mend()
        story.sign_in()
        story.sent()
    story.sent()
    print("and kills:", dict(story.judge()), dict(story.said))
    assert story.phone.complaints == []
