"""What every page shows: temperatures, times, cautions; and that no template carries code or style of its own."""

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django import forms
from django.template import Context, Template

from shared import units
from shared.cautions import CAUTIONS
from shared.widgets import TapNumber

TEMPLATES = sorted((Path(__file__).resolve().parents[2] / "templates").rglob("*.html"))
LOAD = "{% load noughtbook %}"


def shown(text: str, **context) -> str:
    return Template(LOAD + text).render(Context(context))


def test_temperatures_are_shown_in_the_sites_unit():
    assert ">4.6 °C<" in shown("{% temperature 4600 %}")
    assert ">40.3 °F<" in shown('{% temperature 4600 "F" %}')
    assert ">–<" in shown("{% temperature None %}")


def test_errors_are_signed_and_spreads_are_not():
    assert units.show_error(1420) == "+1.42 °C"
    assert units.show_spread(150) == "±0.15 °C"


@pytest.mark.parametrize(
    ("style", "words"),
    [("full", "14 Jul 2026 16:05 BST"), ("short", "14 Jul 16:05"), ("day", "14 Jul 2026"), ("clock", "16:05")],
)
def test_times_are_shown_on_the_sites_clock(style, words):
    drawn = shown(
        "{% when at zone style %}", at=datetime(2026, 7, 14, 15, 5, tzinfo=UTC), zone="Europe/London", style=style
    )
    assert drawn == f'<time datetime="2026-07-14T15:05+00:00">{words}</time>'


def test_no_time_is_a_dash():
    assert shown('{% when None "UTC" %}') == "–"


def test_a_time_without_a_zone_and_an_unknown_style_are_refused():
    with pytest.raises(ValueError, match="zone"):
        shown('{% when at "UTC" %}', at=datetime(2026, 7, 14, 15, 5))
    with pytest.raises(ValueError, match="full, short, day, clock"):
        shown('{% when at "UTC" "long" %}', at=datetime(2026, 7, 14, tzinfo=UTC))


def test_several_cautions_share_one_box():
    drawn = shown('{% caution "ice_bath" "alcohol" %}')
    assert drawn.count("<aside") == 1
    assert CAUTIONS["ice_bath"].text in drawn and CAUTIONS["alcohol"].text in drawn


def test_an_unknown_caution_says_which_are_known():
    with pytest.raises(LookupError, match="ice_bath"):
        shown('{% caution "ice" %}')


@pytest.mark.parametrize("word", ["HACCP", "local code", "authority", "licensed practice"])
def test_the_deferral_names_what_comes_first(word):
    assert word in shown('{% caution_text "deferral" %}')


class Entry(forms.Form):
    value = forms.CharField(label="The display shows", help_text="Such as 4.6", widget=TapNumber("°C"))
    kind = forms.ChoiceField(widget=forms.RadioSelect, choices=[("a", "Crushed"), ("b", "Cubes")], required=False)
    kept = forms.BooleanField(label="Kept apart")


def test_the_number_box_opens_number_keys_and_has_a_sign_key():
    drawn = str(Entry()["value"])
    assert 'inputmode="decimal"' in drawn and 'data-sign-of="id_value"' in drawn and "°C" in drawn
    assert "data-sign-of" not in TapNumber("%", signed=False).render("share", None, {"id": "id_share"})


def test_what_was_typed_is_escaped():
    assert "<script>" not in str(Entry({"value": '"><script>alert(1)</script>'})["value"])


def test_fields_name_their_label_their_help_and_their_error():
    drawn = Entry({"value": ""}).as_div()
    assert '<label for="id_value">The display shows</label>' in drawn
    assert 'aria-describedby="id_value_helptext id_value_error"' in drawn
    assert 'id="id_value_helptext"' in drawn and 'id="id_value_error"' in drawn
    assert "<legend>Kind" in drawn and "(optional)" in drawn


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_carries_style_or_script_of_its_own(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\sstyle\s*=|<style|\son\w+\s*=|javascript:|hx-on", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


def test_a_fact_of_zero_is_no_missing_fact():
    drawn = shown('{% include "components/facts.html" %}', facts=[("Open", 0), ("Maker", None), ("Note", "")])
    assert drawn.count("<dd>–</dd>") == 2 and "<dd>0</dd>" in drawn


def test_a_picture_in_two_widths_shows_one_at_a_time():
    drawn = shown('{% include "components/picture.html" %}', svg="wide", narrow_svg="slim", caption="Checks")
    assert '<div class="chart-wide">wide</div><div class="chart-narrow">slim</div>' in drawn
    assert "chart-narrow" not in shown('{% include "components/picture.html" %}', svg="wide")
