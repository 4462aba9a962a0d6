"""What the one script does beyond HTML, in a page of its own."""

from pathlib import Path

import django_htmx
from playwright.sync_api import Browser, Page

from tests.browser.conftest import PHONE, ROOT

SCRIPT = ROOT / "shared/static/noughtbook/app.js"
HTMX = Path(django_htmx.__file__).parent / "static/django_htmx/htmx-2.min.js"
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


def test_the_second_tap_of_a_wet_finger_is_not_for_the_next_probe_of_a_bath(chromium):
    bath = '<nav class="together"></nav><section><form><button id="insert">P2 is in</button></form></section>'
    page = chromium.new_page()
    page.set_content(bath)
    page.evaluate("performance.now = () => window.moment ?? 0")
    page.add_script_tag(path=SCRIPT)
    tapped = """moment => { window.moment = moment; return document.getElementById("insert").dispatchEvent(
        new MouseEvent("click", { detail: 1, bubbles: true, cancelable: true })) }"""
    page.evaluate("document.forms[0].addEventListener('submit', (event) => event.preventDefault())")
    assert [page.evaluate(tapped, moment) for moment in (0, 399, 401)] == [False, False, True]
    page.close()


def test_htmx_acts_on_nothing_but_what_carries_the_seal_of_who_looks(chromium):
    parts = {
        "ours": 'data-seal="s3al"',
        "none": "",
        "empty": 'data-seal=""',
        "wrong": 'data-seal="seal"',
        "boosted": 'data-hx-boost="true"',
    }
    typed = "".join(f'<p {seal} hx-get="/{name}" hx-trigger="load">' for name, seal in parts.items())
    inside = (
        f'<form data-seal="s3al" hx-post="/form"><p data-hx-post="/inside" hx-trigger="load"></p></form><i>{typed}</i>'
    )
    head = (
        '<meta name="seal" content="s3al"><script src="/htmx.js" defer></script><script src="/app.js" defer></script>'
    )
    page, asked = chromium.new_page(), []
    answers = {"/": f'<head>{head}</head><body><meta name="seal" content="seal">{inside}</body>'}
    answers |= {"/htmx.js": HTMX.read_text(), "/app.js": SCRIPT.read_text()}

    def answer(route):
        path = route.request.url.removeprefix("http://book.example")
        asked.append(path)
        route.fulfill(
            body=answers.get(path, "<b>fetched</b>"), content_type="text/html" if path == "/" else "text/javascript"
        )

    page.route("**/*", answer)
    page.goto("http://book.example/")
    page.wait_for_timeout(300)
    assert [path for path in asked if path not in answers] == ["/ours"]
