"""What the one script does beyond HTML, in a page of its own."""

from playwright.sync_api import Browser, Page

from tests.browser.conftest import PHONE, ROOT

SCRIPT = ROOT / "shared/static/noughtbook/app.js"
STYLE = ROOT / "shared/static/noughtbook/noughtbook.css"


def drawn(chromium: Browser, content: str) -> Page:
    page = chromium.new_page(viewport=PHONE)
    page.set_content(content)
    page.add_style_tag(path=STYLE)
    page.add_script_tag(path=SCRIPT)
    return page


def test_what_went_wrong_takes_the_focus(chromium):
    page = drawn(chromium, '<input><div class="error-summary" tabindex="-1">Say why.</div>')
    assert page.evaluate("document.activeElement.className") == "error-summary"


def test_the_tab_that_is_shown_lies_in_view(chromium):
    tabs = [f"<li><a href='#'{' aria-current=page' if n == 9 else ''}>A kitchen {n}</a></li>" for n in range(10)]
    page = drawn(chromium, f"<nav class='tabs'><ul>{''.join(tabs)}</ul></nav>")
    box = page.locator("[aria-current]").bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] < PHONE["width"] + 1
