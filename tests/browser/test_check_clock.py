"""The clock of a check runs in the browser: a phone that waits in a kitchen asks the server for nothing."""

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE
from tests.browser.ice import into_the_ice
from tests.browser.test_story import PROBE

MINUTE = 60_000  # milliseconds


def put_in(page: Page) -> None:
    page.clock.install()
    page.goto("/today/")
    page.get_by_role("link", name=re.compile(PROBE)).first.click()
    page.get_by_role("link", name=re.compile("Check", re.I)).first.click()
    into_the_ice(page)
    expect(page.locator("#now")).to_be_visible()


def seconds(page: Page) -> int:
    minutes, rest = page.locator("[data-clock]").text_content().split(":")
    return 60 * int(minutes) + int(rest)


def test_in_a_minute_of_waiting_the_seconds_go_on_and_the_server_is_left_alone(sign_in):
    page = sign_in("manager", PHONE, at=None)
    put_in(page)
    for number in ("", "7.4"):  # before the first reading, and after it
        if number:
            page.locator("#value").fill(number)
            page.locator("#read-it").click()
            expect(page.locator("ol.taken > li")).to_have_count(1)
        asked: list[str] = []
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        before = seconds(page)
        page.clock.run_for(MINUTE)
        assert 58 <= seconds(page) - before <= 65
        assert asked == []


def test_somebody_who_comes_back_to_the_page_sees_the_time_of_the_server(sign_in):
    page = sign_in("manager", PHONE, at=None)
    put_in(page)
    page.clock.run_for(MINUTE)
    assert seconds(page) > 57
    with page.expect_response(re.compile("/now/")):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(page.locator("[data-clock]")).to_have_text(re.compile("^0:"))
