"""Loading rule sets: again and again, and never over what is there."""

import copy
import io
import json

import pytest
from django.core.management import CommandError, call_command

from compliance.limits.loading import SHIPPED
from compliance.limits.models import Rule, RuleSet

SMALL = {
    "code": "house",
    "title": "House rules",
    "jurisdiction": "This house",
    "edition": "1",
    "source": "The plan",
    "rules": [
        {
            "code": "soup",
            "step": "Hot holding",
            "title": "Soup",
            "hazard": "Growth",
            "direction": "at_least",
            "value": "65",
            "unit": "C",
            "hold_s": None,
            "within_s": None,
            "usual_action": "Reheat.",
            "source": "The plan, 3",
            "origin": "practice",
            "note": "",
        },
    ],
}


@pytest.fixture
def load(tmp_path, db):
    def run(content):
        path = tmp_path / "rules.json"
        path.write_text(content if isinstance(content, str) else json.dumps(content))
        out = io.StringIO()
        call_command("load_rules", str(path), stdout=out, stderr=out)
        return out.getvalue()

    return run


def changed(**rule):
    content = copy.deepcopy(SMALL)
    content["rules"][0] |= rule
    return content


def test_all_shipped_sets_load_and_load_again(db):
    shipped = sum(len(json.loads(path.read_text())["rules"]) for path in SHIPPED.glob("*.json"))
    told = [io.StringIO(), io.StringIO()]
    for out in told:
        call_command("load_rules", stdout=out)
        assert Rule.objects.count() == shipped > 40
    assert "0 rules added" not in told[0].getvalue() and told[1].getvalue().count(" 0 rules added") == 2


def test_a_rule_that_is_missing_comes_in_beside_the_others(load):
    load(SMALL)
    content = copy.deepcopy(SMALL)
    content["rules"].append({**SMALL["rules"][0], "code": "stew", "title": "Stew"})
    assert "1 rules added, 1 known already" in load(content)
    assert Rule.objects.get(code="stew").value_milli == 65_000


@pytest.mark.parametrize(
    "figure", [{"value": "64.9"}, {"hold_s": 15}, {"direction": "at_most"}, {"unit": "F"}, {"source": "x"}]
)
def test_another_figure_under_the_same_edition_is_refused_and_named(load, figure):
    load(SMALL)
    content = changed(**figure)
    content["rules"].insert(0, {**SMALL["rules"][0], "code": "stew"})
    with pytest.raises(CommandError, match=f"soup of House rules, 1: {next(iter(figure))}"):
        load(content)
    assert not Rule.objects.filter(code="stew").exists()


def test_the_same_figure_written_otherwise_is_the_same(load):
    load(SMALL)
    assert "1 known already" in load(changed(value="65.00"))


def test_other_words_are_told_and_not_written(load):
    load(SMALL)
    assert "the book keeps those it has: soup" in load(changed(title="Soups"))
    assert Rule.objects.get().title == "Soup"


def test_another_edition_needs_another_code(load):
    load(SMALL)
    with pytest.raises(CommandError, match="a code of its own"):
        load({**SMALL, "edition": "2"})
    load({**SMALL, "edition": "2", "code": "house-2"})
    assert RuleSet.objects.count() == 2


@pytest.mark.parametrize(
    "content, complaint",
    [
        ("{", "cannot be read"),
        ("[]", "is not a file of rules"),
        ({**SMALL, "edition": ""}, "does not say its edition"),
        (changed(value="warm"), r"Rule 1 \(soup\)"),
        (changed(origin="hearsay"), "origin"),
        (changed(colour="red"), "colour"),
        (changed(value="65.123"), "value"),
    ],
)
def test_a_bad_file_is_refused_with_what_is_wrong(load, content, complaint):
    with pytest.raises(CommandError, match=complaint):
        load(content)
    assert not Rule.objects.exists()
