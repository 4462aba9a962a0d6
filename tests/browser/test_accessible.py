"""Every main page against the machine-checkable part of WCAG 2.2 level AA, at phone and at desktop width.

Source: the rules of axe-core (tags wcag2a to wcag22aa), which name the success criterion each checks.
"""

from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import DESK, PHONE

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
MANAGER = (
    "/today/", "/probes/", "/probes/2/", "/probes/2/check/", "/probes/2/boiling/", "/probes/2/event/", "/probes/2/outlook/",
    "/readings/", "/readings/add/", "/readings/1/", "/readings/import/", "/deviations/", "/quarantine/", "/records/",
    "/account/", "/sites/1/plans/", "/sites/1/plans/change/", "/sites/1/opening/", "/sites/1/closures/add/", "/limits/1/rounds/",
    "/today/1/", "/today/1/planned/", "/today/1/together/", "/probes/2/plan/", "/notices/", "/account/notices/",
    "/sites/1/feeds/", "/health/",
)  # fmt: skip
SUPERVISOR = (
    "/areas/",
    "/outlook/",
    "/quarantine/",
    "/people/",
    "/sites/",
    "/sites/1/limits/",
    "/notices/",
    "/notices/mail/",
)
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
        for fault in Axe().run(page, options=RULES).response["violations"]:
            where = "; ".join(node["html"][:120] for node in fault["nodes"][:3])
            found.append(f"{address} {fault['id']}: {where}")
    return found


def test_no_page_breaks_a_rule_that_a_machine_can_check(sign_in, served):
    found, excuse = [], f"/reminders/{served.ask(OVERDUE)}/excuse/"
    for size in (PHONE, DESK):
        manager, supervisor = sign_in("manager", size), sign_in("supervisor", size)
        found += faults(manager, [*MANAGER, _first_case(manager), _first_check(manager), excuse])
        found += faults(supervisor, [*SUPERVISOR, _first_case(supervisor)])
    assert sorted(set(found)) == []


def _first_case(page) -> str:
    page.goto("/quarantine/")
    return page.locator("a[href^='/quarantine/']:not([href='/quarantine/'])").first.get_attribute("href")


def _first_check(page) -> str:
    page.goto("/probes/2/")
    return page.locator("a[href^='/checks/']").first.get_attribute("href")
