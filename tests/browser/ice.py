"""Making the ice and putting a probe in, as the page of a check has it."""

from playwright.sync_api import Page, expect

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


def into_the_ice(page: Page) -> None:
    drained = page.get_by_role("button", name="Done: Drain it")
    drained.click()
    expect(drained).to_have_count(0)
    page.locator("#insert").click()
    expect(page.locator("#read")).to_be_visible()
