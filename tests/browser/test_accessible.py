"""Every main page against the machine-checkable part of WCAG 2.2 level AA, at phone and at desktop width.

Source: the rules of axe-core (tags wcag2a to wcag22aa), which name the success criterion each checks.
"""

from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import DESK, PHONE

RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],  # where a rule holds is not gathered, element by element
}
MANAGER = (
    "/today/",
    "/probes/",
    "/probes/2/",
    "/probes/2/check/",
    "/probes/2/check/whole/",
    "/probes/2/boiling/",
    "/probes/2/event/",
    "/probes/2/outlook/",
    "/readings/",
    "/readings/add/",
    "/readings/1/",
    "/readings/import/",
    "/deviations/",
    "/quarantine/",
    "/records/",
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
    "/people/add/",
    "/account/password/",
    "/sites/",
    "/sites/1/limits/",
    "/notices/",
    "/notices/mail/",
)
IN_THE_DARK = ("/today/1/", "/probes/2/check/", "/today/1/round/", "/probes/2/", "/readings/paper/")
# At the first site the spare is overdue whenever the demo is made.
OVERDUE = """
from compliance.reminders.models import Reminder
print(json.dumps(Reminder.objects.filter(probe__code="AL-4").latest("due_at").pk))
"""


def faults(page, addresses) -> list[str]:
    found = []
    for address in addresses:
        answer = page.goto(address)
        assert answer.status == 200, f"{answer.status} {address}"
        for size in (PHONE, DESK):
            page.set_viewport_size(size)
            found += faults_here(page)
    return found


def faults_here(page) -> list[str]:
    found = violations(page)
    if any(rule == "target-size" for rule, _ in found):
        # Buttons that stay at the lower edge lie over the end of a list until it is scrolled up: what is whole then can be hit.
        page.evaluate("scrollTo({top: document.body.scrollHeight, behavior: 'instant'})")
        scrolled = violations(page)
        found = [fault for fault in found if fault[0] != "target-size" or fault in scrolled]
    return [f"{urlsplit(page.url).path} {rule}: {where}" for rule, where in found]


def violations(page) -> list[tuple[str, str]]:
    """The rule and the mark-up of each element that breaks it."""
    broken = Axe().run(page, options=RULES).response["violations"]
    return [(fault["id"], node["html"][:120]) for fault in broken for node in fault["nodes"]]


def test_no_page_breaks_a_rule_that_a_machine_can_check(sign_in, served):
    found, excuse = [], f"/reminders/{served.ask(OVERDUE)}/excuse/"
    manager, supervisor = sign_in("manager", PHONE), sign_in("supervisor", PHONE)
    found += faults(manager, [*MANAGER, _first_case(manager), _first_check(manager), excuse])
    found += faults(supervisor, [*SUPERVISOR, _first_case(supervisor)])
    manager.emulate_media(color_scheme="dark")
    found += faults(manager, [*IN_THE_DARK, _first_case(manager)])
    for size in (PHONE, DESK):
        supervisor.set_viewport_size(size)
        found += faults_on_the_way_in(supervisor, size)
    assert sorted(set(found)) == []


def faults_on_the_way_in(supervisor, size) -> list[str]:
    """A newcomer is added and chooses a password by the link on a device of their own; a browser has to send that form, too."""
    email, password = f"ada{size['width']}@quillwood.example", "brisk-orchard-52"
    supervisor.goto("/people/add/")
    for label, text in (("Name", "Ada Brook"), ("Initials", "AB"), ("E-mail", email)):
        supervisor.get_by_label(label).fill(text)
    supervisor.get_by_role("button", name="Add the person").click()
    address, found = supervisor.locator(".address").inner_text(), faults_here(supervisor)
    supervisor.get_by_role("link", name="I have handed it on").click()
    found += faults_here(supervisor)
    with supervisor.context.browser.new_context(viewport=size) as own:
        page = own.new_page()
        page.goto(address)
        found += faults_here(page)
        page.get_by_label("New password").fill(password)
        page.get_by_label("The same again").fill(password)
        page.get_by_role("button", name="Keep this password").click()
        page.get_by_label("E-mail").fill(email)
        page.get_by_label("Password", exact=True).fill(password)
        page.get_by_role("button", name="Sign in").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Your password was set anew")
        found += faults_here(page)
        page.get_by_role("button", name="I know of this").click()
        page.wait_for_url("**/today/**")
        page.goto(address)
        found += faults_here(page)
    return found


def _first_case(page) -> str:
    page.goto("/quarantine/")
    return page.locator("a[href^='/quarantine/']:not([href='/quarantine/'])").first.get_attribute("href")


def _first_check(page) -> str:
    page.goto("/probes/2/")
    return page.locator("a[href^='/checks/']").first.get_attribute("href")
