"""The pages of limits: who sees and sets what, and what they say."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.limits import actions
from compliance.limits.models import Limit, Rule
from compliance.limits.queries import version_in_force
from tests.world import make_limit, make_version


@pytest.fixture
def rule(db, capsys):
    call_command("load_rules")
    return Rule.objects.get(rule_set__code="united-kingdom", code="frozen-storage")


@pytest.fixture
def frozen(world, rule):
    long_ago = timezone.now() - timedelta(days=300)
    return actions.adopt(by=world.manager, site=world.site, rule=rule, effective_from=long_ago)


def figures(**given):
    begins = timezone.localtime(timezone.now() - timedelta(minutes=1)).strftime("%Y-%m-%dT%H:%M")
    return {"value": "-18", "usual_action": "Move it.", "effective_from": begins, **given}


def test_ticked_rules_are_adopted_together(world, rule, as_person):
    url = reverse("limit_adopt", args=[world.site.pk]) + "?set=united-kingdom"
    other = Rule.objects.get(rule_set=rule.rule_set, code="hot-holding")
    as_person(world.manager).post(url, {"rules": [rule.pk, other.pk], "effective_from": figures()["effective_from"]})
    assert set(Limit.objects.filter(site=world.site, rule__isnull=False).values_list("rule__code", flat=True)) == {
        "frozen-storage",
        "hot-holding",
    }
    assert "Frozen storage: at most" not in as_person(world.manager).get(url).content.decode()


def test_a_rule_is_adopted_stricter(world, rule, as_person):
    url = reverse("limit_adopt_rule", args=[world.site.pk, rule.pk])
    as_person(world.manager).post(url, figures(value="−20,5", target="-22"))
    version = version_in_force(Limit.objects.get(rule=rule), timezone.now())
    assert (version.value, version.target_milli) == (Decimal("-20.5"), -22_000)


def test_a_looser_figure_is_asked_for_its_reason_beside_the_box_and_keeps_what_was_typed(world, frozen, as_person):
    client, url = as_person(world.manager), reverse("limit_change", args=[frozen.pk])
    page = client.post(url, figures(value="-16", usual_action="Ring the engineer."))
    assert "looser than its rule" in str(page.context["form"].errors["reason"])
    assert "Ring the engineer." in page.content.decode()
    client.post(url, figures(value="-16", reason="Agreed with the authority."))
    detail = client.get(reverse("limit_detail", args=[frozen.pk])).content.decode()
    assert "Looser than its rule" in detail and "Agreed with the authority." in detail


@pytest.mark.parametrize(
    "given", [{"value": "cold"}, {"hold_s": "a while"}, {"effective_from": ""}, {"value": "-18.123"}]
)
def test_bad_input_is_told_and_nothing_is_written(world, frozen, as_person, given):
    page = as_person(world.manager).post(reverse("limit_change", args=[frozen.pk]), figures(**given))
    assert page.status_code == 200 and page.context["form"].errors
    assert frozen.versions.count() == 1


def test_the_history_says_which_version_counts(world, frozen, as_person):
    now = timezone.now()
    make_version(frozen, by=world.manager, value="-19", effective_from=now - timedelta(days=9))
    make_version(frozen, by=world.manager, value="-20", effective_from=now - timedelta(days=9))
    make_version(frozen, by=world.manager, value="-21", effective_from=now + timedelta(days=9))
    page = as_person(world.reader).get(reverse("limit_detail", args=[frozen.pk]))
    states = {str(v.value.normalize()): v.state for v in page.context["table"].data}
    assert states == {"-21": "To come", "-2E+1": "In force", "-19": "Replaced", "-18": "Past"}


def test_a_retired_limit_stays_in_the_list_and_says_so(world, frozen, as_person):
    client = as_person(world.manager)
    given = {"effective_from": figures()["effective_from"], "reason": "The freezer is gone."}
    client.post(reverse("limit_retire", args=[frozen.pk]), given)
    assert version_in_force(frozen, timezone.now()) is None
    assert "Retired" in client.get(reverse("limit_list", args=[world.site.pk])).content.decode()
    assert "Bring it into force" in client.get(reverse("limit_detail", args=[frozen.pk])).content.decode()


def test_who_may_set_limits(world, frozen, as_person):
    for name, pk in (
        ("limit_change", frozen.pk),
        ("limit_retire", frozen.pk),
        ("limit_adopt", world.site.pk),
        ("limit_add", world.site.pk),
    ):
        codes = [
            as_person(p).get(reverse(name, args=[pk])).status_code for p in (world.manager, world.cook, world.stranger)
        ]
        assert codes == [200, 403, 404], name


def test_a_site_without_limits_says_what_to_do(world, as_person):
    url = reverse("limit_list", args=[world.other_site.pk])
    assert reverse("limit_adopt", args=[world.other_site.pk]) in as_person(world.supervisor).get(url).content.decode()


def test_the_list_is_as_quick_for_three_times_as_many(world, as_person):
    client, counts = as_person(world.reader), []
    for numbers in (range(3), range(3, 12)):
        for number in numbers:
            make_limit(world.site, by=world.manager, code=f"unit-{number}")
        with CaptureQueriesContext(connection) as queries:
            page = client.get(reverse("limit_list", args=[world.site.pk]))
        counts.append(len(queries))
    assert "Unit 11" in page.content.decode() and counts[0] == counts[1]


def test_the_list_has_the_short_names_that_files_use_and_no_empty_column(world, frozen, as_person):
    address = reverse("limit_list", args=[world.site.pk])
    text = as_person(world.manager).get(address).content.decode()
    assert frozen.code in text
    assert "Target" not in text
    now = timezone.now()
    actions.change(by=world.manager, limit=frozen, effective_from=now, reason="Aim lower.", target_milli=-20_000)
    assert "Target" in as_person(world.manager).get(address).content.decode()
