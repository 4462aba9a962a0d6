"""Making the ice and putting a probe in, as the page of a check has it."""

from playwright.sync_api import Page, expect


def into_the_ice(page: Page) -> None:
    drained = page.get_by_role("button", name="Done: Drain it")
    drained.click()
    expect(drained).to_have_count(0)
    page.locator("#insert").click()
    expect(page.locator("#read")).to_be_visible()
