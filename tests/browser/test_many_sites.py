"""Somebody with more sites than a menu holds searches for one, on a phone, with the script and without."""

import re

from playwright.sync_api import expect

from compliance.overview.demo.setting import PASSWORD, SIGN_INS
from tests.browser.conftest import PHONE

MORE = """
from sites.models import Area
from tests.world import make_site
for area in Area.objects.all():
    for number in range(30):
        make_site(area, f"Kitchen {number:02d} of {area}")
print(json.dumps(area.sites.count()))
"""
SITE = "Alderbrook School Canteen"


def test_the_menu_fills_as_somebody_types_and_probes_come_with_the_site(sign_in, served):
    assert served.ask(MORE) > 30
    page = sign_in("head", PHONE, at=None)
    page.goto("/readings/")
    page.get_by_role("button", name="Filter").click()
    expect(page.get_by_label("Probe")).to_have_count(0)
    page.get_by_label("Part of the name of a site").press_sequentially("alderbr")
    expect(page.locator("#id_site")).to_contain_text(SITE)
    expect(page.locator("#id_site option")).to_have_count(2)
    page.get_by_label("Part of the name of a site").press("Enter")
    expect(page).to_have_url(re.compile("site_q=alderbr"))
    expect(page.locator("#of-site select[name=probe]")).to_contain_text("AL-3")


def test_without_a_script_the_button_of_the_form_searches(chromium, served):
    assert served.ask(MORE) > 30
    context = chromium.new_context(viewport=PHONE, base_url=served.address, java_script_enabled=False)
    page = context.new_page()
    page.goto("/")
    page.get_by_label("E-mail").fill(SIGN_INS["head"])
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto("/records/")
    page.get_by_label("Part of the name of a site").fill("kitchen 07")
    page.get_by_role("button", name="Make the PDF").click()
    page.get_by_label("Site", exact=True).select_option(index=1)
    with page.expect_response(re.compile("/records/print/.*site=")) as made:
        page.get_by_role("button", name="Make the PDF").click()
    assert made.value.status == 200
    context.close()
