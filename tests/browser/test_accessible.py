"""Every main page against the machine-checkable part of WCAG 2.2 level AA (tests/browser/rules.py), at phone width, and those
that are laid out otherwise on a desk at that width, too.
"""

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.browser.rules import Rules

OF_PROBES = (
    "/probes/",
    "/probes/2/",
    "/probes/2/check/",
    "/probes/2/check/whole/",
    "/probes/2/boiling/",
    "/probes/2/event/",
    "/probes/2/outlook/",
)
OF_READINGS = (
    "/readings/",
    "/readings/add/",
    "/readings/1/",
    "/readings/import/",
    "/deviations/",
    "/quarantine/",
    "/records/",
)
OF_MANAGERS = (
    "/account/",
    "/phone/",
    "/account/pin/",
    "/sites/1/devices/",
    "/readings/paper/",
    "/probes/2/check/paper/",
    "/sites/1/plans/",
    "/sites/1/plans/change/",
    "/sites/1/opening/",
    "/sites/1/closures/add/",
    "/limits/1/rounds/",
    "/sites/1/appliances/",
    "/sites/1/appliances/add/",
    "/sites/1/acts/",
    "/appliances/1/edit/",
    "/appliances/1/out-of-use/",
    "/today/1/",
    "/today/1/planned/",
    "/today/1/round/",
    "/today/1/together/",
    "/probes/2/plan/",
    "/notices/",
    "/account/notices/",
    "/sites/1/feeds/",
    "/health/",
)
SUPERVISOR = (
    "/areas/",
    "/outlook/",
    "/quarantine/",
    "/people/",
    "/account/password/",
    "/sites/",
    "/sites/1/limits/",
    "/notices/mail/",
)
IN_THE_DARK = ("/today/1/", "/probes/2/check/", "/today/1/round/", "/probes/2/", "/readings/paper/")
# What of a page is laid out otherwise on a desk; a column of boxes and buttons is the same column there.
OTHERWISE = (
    "main :is(.actions-stay, .chart-wide, .decide, .desk, .desk-even, .facts-two, .filters, .list, .tiles, .work)"
)
# At the first site the spare is overdue whenever the demo is made.
PATHS = """
from compliance.checks.models import Check
from compliance.quarantine.cases import doubts
from compliance.reminders.models import Reminder
print(json.dumps({
    "check": f"/checks/{Check.objects.filter(probe=2).latest('pk').pk}/",
    "case": f"/quarantine/{sorted(doubt.anchor for doubt in doubts([1]))[0].replace(':', '-')}/",
    "excuse": f"/reminders/{Reminder.objects.filter(probe__code='AL-4').latest('due_at').pk}/excuse/",
}))
"""


@pytest.fixture(scope="module")
def rules() -> Rules:
    return Rules()


def faults(rules: Rules, page: Page, addresses, **asked) -> list[str]:
    found = []
    for address in addresses:
        answer = page.goto(address)
        assert answer.status == 200 and "sign-in" not in page.url, f"{answer.status} {address}"
        found += faults_here(rules, page, **asked)
    return found


def faults_here(rules: Rules, page: Page, **asked) -> list[str]:
    """At the width that it has, and where it is laid out otherwise on a desk, at that."""
    found = whole_faults(rules, page, asked)
    if page.locator(OTHERWISE).count():
        before = page.viewport_size
        page.set_viewport_size(DESK)
        found += whole_faults(rules, page, asked)
        page.set_viewport_size(before)
    return [f"{urlsplit(page.url).path} {rule}: {html}" for rule, html in found]


def whole_faults(rules: Rules, page: Page, asked: dict) -> list[tuple[str, str]]:
    """Buttons that stay at the lower edge lie over the end of a list until it is scrolled up: what is whole then can be hit."""
    found = rules.broken_on(page, **asked)
    if any(rule == "target-size" for rule, _ in found):
        page.evaluate("scrollTo({top: document.body.scrollHeight, behavior: 'instant'})")
        scrolled = rules.broken_on(page, **asked)
        found = [fault for fault in found if fault[0] != "target-size" or fault in scrolled]
    return found


PALE = "color: #bbb; background: #fff"
BREAKING = f"""<html lang="en"><title>Broken</title><style>@media (max-width: 500px) {{ .wide {{ display: none }} }}</style>
    <main><h1 class="tiles">Broken</h1><p style="{PALE}">Pale</p><div style="background: #ddd; color: #767676">On grey</div>
    <input style="height: 30px"><button class="wide" style="height: 30px; width: 30px"></button>
    <p style="{PALE}">Pale too</p><button disabled style="{PALE}">Off</button></main>"""


def test_what_breaks_a_rule_is_found_and_what_is_drawn_alike_is_measured_once(chromium):
    page, rules = chromium.new_page(viewport=PHONE), Rules()
    page.set_content(BREAKING)
    at_first = ["button-name", "color-contrast", "color-contrast", "label"]
    assert sorted(fault.split()[1] for fault in faults_here(rules, page)) == [f"{rule}:" for rule in at_first]
    page.set_content(BREAKING)
    assert sorted(fault.split()[1] for fault in faults_here(rules, page)) == ["button-name:", "label:"]
    page.close()


def test_no_page_of_probes_and_readings_breaks_a_rule_that_a_machine_can_check(sign_in, served, rules):
    paths = served.ask(PATHS)
    pages = [*OF_PROBES, *OF_READINGS, paths["check"], paths["case"]]
    assert faults(rules, sign_in("manager", PHONE, at=None), pages) == []


def test_what_is_drawn_in_the_dark_can_be_read(sign_in, served, rules):
    """Of pages that others look at by day."""
    manager = sign_in("manager", PHONE, at=None)
    manager.emulate_media(color_scheme="dark")
    assert faults(rules, manager, [*IN_THE_DARK, served.ask(PATHS)["case"]], contrast_only=True) == []


def test_no_other_page_of_a_manager_breaks_one(sign_in, served, rules):
    assert faults(rules, sign_in("manager", PHONE, at=None), [*OF_MANAGERS, served.ask(PATHS)["excuse"]]) == []


def test_no_page_of_a_supervisor_breaks_one_and_none_on_the_way_in(sign_in, served, rules):
    supervisor = sign_in("supervisor", PHONE, at=None)
    found = faults(rules, supervisor, [*SUPERVISOR, served.ask(PATHS)["case"]])
    assert found + faults_on_the_way_in(rules, supervisor) == []


def faults_on_the_way_in(rules: Rules, supervisor: Page) -> list[str]:
    """A newcomer is added and chooses a password by the link on a device of their own; a browser has to send that form, too."""
    email, password = "ada@quillwood.example", "brisk-orchard-52"
    found = faults(rules, supervisor, ["/people/add/"])
    for label, text in (("Name", "Ada Brook"), ("Initials", "AB"), ("E-mail", email)):
        supervisor.get_by_label(label).fill(text)
    supervisor.get_by_role("button", name="Add the person").click()
    address = supervisor.locator(".address").inner_text()
    found += faults_here(rules, supervisor)
    supervisor.get_by_role("link", name="I have handed it on").click()
    found += faults_here(rules, supervisor)
    with supervisor.context.browser.new_context(viewport=PHONE) as own:
        page = own.new_page()
        page.goto(address)
        found += faults_here(rules, page)
        page.get_by_label("New password").fill(password)
        page.get_by_label("The same again").fill(password)
        page.get_by_role("button", name="Keep this password").click()
        page.get_by_label("E-mail").fill(email)
        page.get_by_label("Password", exact=True).fill(password)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Your password was set anew")
        found += faults_here(rules, page)
        page.get_by_role("button", name="I know of this").click()
        page.wait_for_url("**/today/**")
        page.goto(address)
        found += faults_here(rules, page)
    return found
