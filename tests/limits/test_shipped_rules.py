"""The rule sets that come with Noughtbook, against what the clauses themselves print.

Sources: US Food Code 2022 (FDA), the clause beside each figure. Food hygiene regulations of the nations of the United Kingdom,
Schedule 4; quick-frozen foodstuffs regulations; guidance of the Food Standards Agency on cooking.
"""

import json
from decimal import Decimal

import pytest

from compliance.limits.loading import SHIPPED
from compliance.limits.models import Direction, Origin
from shared.units import to_milli

US = {r["code"]: r for r in json.loads((SHIPPED / "us_food_code_2022.json").read_text())["rules"]}
UK = {r["code"]: r for r in json.loads((SHIPPED / "united_kingdom.json").read_text())["rules"]}

# rule, side, °F and °C as the clause prints them, seconds held, seconds within, clause
FOOD_CODE = [
    ("delivery-chilled", "at_most", "41", "5", None, None, "3-202.11"),  # from memory
    ("cold-holding", "at_most", "41", "5", None, None, "3-501.16"),
    ("cook-poultry", "at_least", "165", "74", None, None, "3-401.11(A)(3)"),
    ("cook-minced", "at_least", "155", "68", 17, None, "3-401.11(A)(2)"),
    ("cook-minced-145f", "at_least", "145", "63", 180, None, "3-401.11(A)(2)"),
    ("cook-minced-150f", "at_least", "150", "66", 60, None, "3-401.11(A)(2)"),
    ("cook-minced-158f", "at_least", "158", "70", None, None, "3-401.11(A)(2)"),
    ("cook-whole", "at_least", "145", "63", 15, None, "3-401.11(A)(1)"),
    ("cook-roast-130f", "at_least", "130", "54.4", 112 * 60, None, "3-401.11(B)"),
    ("cook-roast-140f", "at_least", "140", "60.0", 12 * 60, None, "3-401.11(B)"),
    ("cook-roast-145f", "at_least", "145", "62.8", 4 * 60, None, "3-401.11(B)"),
    ("cook-roast-149f", "at_least", "149", "65.0", 85, None, "3-401.11(B)"),
    ("cook-roast-155f", "at_least", "155", "68.3", 22, None, "3-401.11(B)"),
    ("cook-roast-158f", "at_least", "158", "70.0", None, None, "3-401.11(B)"),
    ("cook-vegetables", "at_least", "135", "57", None, None, "3-401.13"),
    ("reheat", "at_least", "165", "74", 15, 2 * 3600, "3-403.11"),
    ("hot-holding", "at_least", "135", "57", None, None, "3-501.16"),
    ("hot-transport", "at_least", "135", "57", None, None, "3-501.16"),
    ("cooling-first-step", "at_most", "70", "21", None, 2 * 3600, "3-501.14"),
    ("cooling-whole", "at_most", "41", "5", None, 6 * 3600, "3-501.14"),
    ("time-4h-from-cold", "at_most", "41", "5", None, None, "3-501.19"),
    ("time-4h-from-hot", "at_least", "135", "57", None, None, "3-501.19"),
    ("time-6h-start", "at_most", "41", "5", None, None, "3-501.19"),
    ("time-6h-meanwhile", "at_most", "70", "21", None, None, "3-501.19"),
]
# Common practice, no source: the code asks for frozen food without a figure (3-501.11).
FOOD_CODE_PRACTICE = {"frozen-delivery": "0", "frozen-storage": "0"}

# rule, side, °C, seconds held, words of the source
KINGDOM = [
    ("delivery-chilled", "at_most", "8", None, "Schedule 4"),
    ("chill-store", "at_most", "8", None, "Schedule 4"),
    ("cold-display", "at_most", "8", None, "Schedule 4"),
    ("delivery-frozen", "at_most", "-18", None, "Quick-frozen"),
    ("frozen-storage", "at_most", "-18", None, "Quick-frozen"),
    ("frozen-transport", "at_most", "-15", None, "Quick-frozen"),
    ("frozen-cabinet", "at_most", "-12", None, "Quick-frozen"),
    ("cook-75c", "at_least", "75", 30, "Food Standards Agency"),
    ("cook-70c", "at_least", "70", 120, "Food Standards Agency"),
    ("cook-80c", "at_least", "80", 6, "Food Standards Agency"),
    ("cook-65c", "at_least", "65", 600, "Food Standards Agency"),
    ("cook-60c", "at_least", "60", 2700, "Food Standards Agency"),
    ("reheat-scotland", "at_least", "82", None, "(Scotland), Schedule 4"),
    ("hot-holding", "at_least", "63", None, "Schedule 4"),
    ("hot-transport", "at_least", "63", None, "Schedule 4"),
]


@pytest.mark.parametrize("code, side, fahrenheit, celsius, hold_s, within_s, clause", FOOD_CODE)
def test_a_figure_of_the_food_code(code, side, fahrenheit, celsius, hold_s, within_s, clause):
    rule = US[code]
    assert (rule["direction"], rule["value"], rule["unit"]) == (side, fahrenheit, "F")
    assert (rule["hold_s"], rule["within_s"]) == (hold_s, within_s)
    assert clause in rule["source"]


@pytest.mark.parametrize("code, fahrenheit, celsius", [(row[0], row[2], row[3]) for row in FOOD_CODE])
def test_the_celsius_that_the_food_code_prints_is_its_fahrenheit_rounded(code, fahrenheit, celsius):
    printed = Decimal(celsius)
    ours = Decimal(to_milli(Decimal(fahrenheit), "F")) / 1000
    assert ours.quantize(printed) == printed


@pytest.mark.parametrize("code, side, celsius, hold_s, source", KINGDOM)
def test_a_figure_of_the_united_kingdom(code, side, celsius, hold_s, source):
    rule = UK[code]
    assert (rule["direction"], rule["value"], rule["unit"], rule["hold_s"]) == (side, celsius, "C", hold_s)
    assert source in rule["source"]


def test_no_shipped_figure_is_unchecked():
    assert set(US) == {row[0] for row in FOOD_CODE} | set(FOOD_CODE_PRACTICE)
    assert set(UK) == {row[0] for row in KINGDOM} | {"cooling"}


def test_what_is_only_practice_or_from_memory_says_so():
    assert {c for c, r in US.items() if r["origin"] == Origin.PRACTICE} == set(FOOD_CODE_PRACTICE)
    assert {US[c]["value"] for c in FOOD_CODE_PRACTICE} == {"0"}
    assert {c for c, r in US.items() if r["origin"] == Origin.MEMORY} == {"delivery-chilled"}
    assert {c for c, r in UK.items() if r["origin"] != Origin.SEEN} == {"cooling"}  # 90 minutes to 8 °C: practice
    assert (UK["cooling"]["value"], UK["cooling"]["within_s"]) == ("8", 90 * 60)


@pytest.mark.parametrize("rule", [*US.values(), *UK.values()], ids=lambda rule: rule["code"])
def test_every_rule_says_what_it_guards_against_and_what_is_done(rule):
    assert rule["hazard"] and rule["usual_action"] and rule["title"] and rule["step"]
    assert rule["direction"] in Direction.values and rule["origin"] in Origin.values


def test_the_pairs_for_roasts_and_for_minced_meat_trade_time_for_temperature():
    """Common sense, no source: of pairs that count as equal, the hotter is never held longer."""
    for start in ("cook-roast", "cook-minced"):
        pairs = sorted((Decimal(r["value"]), r["hold_s"] or 0) for c, r in US.items() if c.startswith(start))
        assert [hold for _, hold in pairs] == sorted((hold for _, hold in pairs), reverse=True)
    pairs = sorted((Decimal(r["value"]), r["hold_s"]) for c, r in UK.items() if c.startswith("cook"))
    assert [hold for _, hold in pairs] == sorted((hold for _, hold in pairs), reverse=True)
