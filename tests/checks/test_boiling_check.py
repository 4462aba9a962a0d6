"""The guided check at boiling, from the air's pressure to the verdict, with scripts and without."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts
from compliance.checks.kinds.boiling import BOILING
from compliance.checks.models import Check, CheckDraft, CheckKind, Stage
from compliance.checks.surroundings import keep
from compliance.checks.surroundings_form import Air
from compliance.metrology.air_pressure import PressureLevel
from compliance.metrology.boiling import BoilingKind, BoilingPoint
from tests.conftest import NOON

from .hands import Hands, TapByTap

AT_SEA = {"source": "altitude", "pressure": "", "pressure_unit": "hPa", "altitude": "0", "altitude_unit": "m"}
UPLAND = {"source": "station", "pressure": "953", "pressure_unit": "hPa", "altitude": "520", "altitude_unit": "m"}


@pytest.fixture(params=[True, False], ids=["with scripts", "without scripts"])
def hands(request, as_person, cook, probe, clock):
    return Hands(as_person(cook), probe, clock, request.param, BOILING)


@pytest.fixture
def taps(hands):
    return TapByTap(hands.client, hands.probe, hands.clock, bool(hands.headers), BOILING)


def text(response):
    return response.content.decode()


def start(hands, air=UPLAND, kind=BoilingKind.ROLLING):
    hands.tap("start", kind=kind.value)
    shown = hands.tap("air", **air)
    return hands.tap("air", pressure_level="here") if air is UPLAND else shown


def begun(hands, air=UPLAND, kind=BoilingKind.ROLLING):
    """As `start` does with air that can be."""
    drafts.begin(get_user(hands.client), hands.probe, kind, Stage.AS_FOUND, timezone.now(), CheckKind.BOILING)
    form = Air(air)
    assert form.is_valid()
    drafts.tell(hands.draft, surroundings=keep(form.surroundings(), *form.typed()))
    if air is UPLAND:
        drafts.say_level(hands.draft, PressureLevel.HERE)


def boil(hands, value="98.4", air=UPLAND, kind=BoilingKind.ROLLING, skip=(), first="81.0", begin=begun):
    begin(hands, air, kind)
    hands.prepare(kind, skip)
    hands.inside(kind)
    hands.settle(value, first)


def test_a_whole_check_under_a_barometer(taps, cook):
    shown = text(taps.look())
    assert (
        "Steam scalds" in shown and "microwave" in shown and "glass thermometer" in shown and "clip or tongs" in shown
    )
    boil(taps, begin=start)
    assert "at boiling" in text(taps.look()) and taps.look().context["timing"].settled
    response = taps.finish()
    check = Check.objects.get()
    assert response.url == reverse("check_detail", args=[check.pk])
    # At 95 300 Pa water boils at 98.2657 °C (the library iapws).
    assert (check.kind, check.verdict, check.reference_milli, check.error_milli) == (
        "boiling",
        "in_tolerance",
        98_266,
        134,
    )
    assert check.surroundings == {
        "source": "station",
        "pressure_pa": 95_300.0,
        "altitude_m": 520.0,
        "typed": "953",
        "unit": "hPa",
        "level": "here",
    }
    assert check.checked_at == NOON + timedelta(seconds=75) and check.checked_by == cook
    assert set(check.preparation["points"]) == set(BoilingPoint) - {BoilingPoint.COVERED}
    assert not CheckDraft.objects.exists()


def test_steam_under_a_lid_has_steps_of_its_own(hands):
    boil(hands, kind=BoilingKind.STEAM)
    hands.finish()
    check = Check.objects.get()
    assert check.preparation["kind"] == "steam" and "covered" in check.preparation["points"]
    assert check.verdict == "in_tolerance"


def test_where_water_boils_is_said_before_the_pan(hands):
    type(hands.probe.site).objects.update(altitude_m=520)
    assert 'value="520"' in text(hands.tap("start", kind="rolling"))
    hands.tap("air", **UPLAND)
    hands.tap("air", pressure_level="here")
    shown = text(hands.look())
    assert "Water boils at 98.3 °C here" in shown and "a barometer here" in shown and "Fill a large pan" in shown


def test_the_air_can_be_asked_for_again(hands):
    begun(hands)
    assert 'value="953"' in text(hands.tap("air", again="1"))
    hands.tap("air", **AT_SEA)
    assert hands.draft.surroundings == {"source": "altitude", "pressure_pa": None, "altitude_m": 0.0}


def test_the_pressure_of_a_weather_report_is_not_taken_for_a_barometers(hands):
    shown = text(start(hands, UPLAND | {"pressure": "1013"}))
    assert "at sea level, as weather reports give it" in shown and 'value="1013"' in shown
    assert "source" not in hands.draft.surroundings


QUESTION = "Is 953 hPa the pressure of this place?"


def test_a_pressure_that_may_be_either_is_asked_about_before_the_end(hands):
    hands.tap("start", kind="rolling")
    hands.tap("air", **UPLAND)
    assert QUESTION in text(hands.look()) and "Water boils at" not in text(hands.look())
    hands.prepare(BoilingKind.ROLLING)
    hands.inside(BoilingKind.ROLLING)
    hands.settle("98.4", "81.0")
    shown = text(hands.look())
    assert QUESTION in shown and "Finish without saying which pressure" in shown and 'id="finish-it"' not in shown
    assert "As it stands, this check will say nothing" in shown
    hands.tap("air", pressure_level="here", note="Wall barometer")
    shown = text(hands.look())
    assert QUESTION not in shown and 'id="finish-it"' in shown and "of this place, as somebody said" in shown
    assert hands.draft.note == "Wall barometer" and len(hands.draft.readings) == 6
    hands.finish()
    check = Check.objects.get()
    assert (check.verdict, check.surroundings["level"]) == ("in_tolerance", "here")


def test_one_reduced_to_sea_level_is_converted_though_a_barometer_showed_it(hands):
    hands.tap("start", kind="rolling")
    hands.tap("air", **UPLAND)
    hands.tap("air", pressure_level="sea_level")
    # 953 hPa reduced to sea level are 896 hPa at 520 m (ICAO Doc 7488), where water boils at 96.6 °C (the library iapws).
    assert "Water boils at 96.6 °C here" in text(hands.look())


@pytest.mark.parametrize("answer", [None, "unknown"])
def test_without_an_answer_it_is_inconclusive_however_good_the_figure(hands, answer):
    begun(hands, dict(UPLAND))
    if answer:
        hands.tap("air", pressure_level=answer)
        assert QUESTION not in text(hands.look()) and "It is not known whether 953 hPa is of this place" in text(
            hands.look()
        )
    hands.prepare(BoilingKind.ROLLING)
    hands.inside(BoilingKind.ROLLING)
    hands.settle("98.4", "81.0")
    hands.finish()
    check = Check.objects.get()
    assert check.verdict == "inconclusive" and check.surroundings.get("level") == answer
    assert "under which pressure" in " ".join(check.why)


def test_the_answer_can_be_taken_back_and_goes_with_another_pressure(hands):
    begun(hands)
    hands.tap("air", pressure_level="")
    assert QUESTION in text(hands.look())
    hands.tap("air", pressure_level="here")
    hands.tap("air", again="1")
    hands.tap("air", **UPLAND | {"pressure": "955"})
    assert "level" not in hands.draft.surroundings and "Is 955 hPa the pressure" in text(hands.look())
    assert hands.tap("air", pressure_level="perhaps").status_code == 404


@pytest.mark.parametrize(
    "air",
    [
        UPLAND | {"pressure": "935"},
        UPLAND | {"altitude": "1500", "pressure": "846"},
        UPLAND | {"altitude": "1500", "pressure": "1013", "source": "sea_level"},
        UPLAND | {"altitude": "20", "pressure": "1011"},
        UPLAND | {"source": "altitude", "pressure": ""},
    ],
)
def test_where_only_one_is_possible_nothing_is_asked(hands, air):
    begun(hands, air)
    shown = text(hands.look())
    assert "the pressure of this place?" not in shown and "Water boils at" in shown


def test_the_pressure_of_a_weather_report_is_converted(hands):
    begun(hands, UPLAND | {"pressure": "1013.25", "source": "sea_level"})
    # The standard atmosphere at 520 m has 952.3 hPa (ICAO Doc 7488), where water boils at 98.24 °C.
    assert "Water boils at 98.2 °C here" in text(hands.look())


IMPOSSIBLE = [
    ({"pressure": ""}, "Type the air pressure"),
    ({"pressure": "high"}, "is not a number"),
    ({"pressure": "٩٥٣"}, "is not a number"),
    ({"pressure": "95"}, "cannot be"),
    ({"altitude": ""}, "required"),
    ({"altitude": "9000"}, "from -450 to 6000"),
    ({"source": "guess"}, "Select a valid choice"),
]


def test_what_the_air_cannot_be_is_refused_and_stays_in_the_box(hands):
    hands.tap("start", kind="rolling")
    for air, message in IMPOSSIBLE:
        shown = text(hands.tap("air", **UPLAND | air))
        assert message in shown and hands.draft.surroundings == {} and "Air pressure" in shown, air


def test_inches_of_mercury_and_feet_at_a_fahrenheit_site(hands):
    type(hands.probe.site).objects.update(unit="F", altitude_m=1609)
    shown = text(hands.tap("start", kind="rolling"))
    assert 'value="5279"' in shown and '<option value="inHg" selected>' in shown and "212 °F" in shown
    air = {"source": "station", "pressure": "24.90", "pressure_unit": "inHg", "altitude": "5280", "altitude_unit": "ft"}
    hands.tap("air", **air)
    # 24.90 inHg are 84 321 Pa (NIST SP 811), where water boils at 94.907 °C, 202.8 °F (the library iapws).
    assert "Water boils at 202.8 °F here" in text(hands.look())
    hands.prepare(BoilingKind.ROLLING)
    hands.inside(BoilingKind.ROLLING)
    hands.settle("203.0", "178.0")
    hands.finish()
    check = Check.objects.get()
    assert (check.reference_milli, check.verdict) == (94_907, "in_tolerance") and check.error_milli == 93


def test_a_probe_that_is_not_made_for_it_is_refused_with_words(hands):
    type(hands.probe).objects.update(highest_milli=104_900)
    assert "needs a range up to 105 °C" in text(hands.look())
    hands.tap("start", kind="rolling")
    assert not CheckDraft.objects.exists() and 'name="kind"' not in text(hands.look())


def test_a_glass_thermometer_is_refused_with_words(hands):
    type(hands.probe).objects.update(sensor="liquid_in_glass")
    assert "is a glass thermometer" in text(hands.look())


def test_quiet_water_says_nothing(hands):
    boil(hands, skip=[BoilingPoint.BOILED_HARD])
    assert "It did not boil hard" in text(hands.look())
    hands.finish()
    assert Check.objects.get().verdict == "inconclusive"


def test_after_settling_a_rise_is_put_right_at_the_pan_and_not_in_ice(hands):
    boil(hands)
    for value in ("98.9", "99.4", "99.9"):
        hands.wait(10)
        hands.read(value)
    shown = hands.look()
    assert "ice" not in shown.context["timing"].sentence and not shown.context["timing"].settled


def test_both_kinds_of_check_run_side_by_side(hands):
    begun(hands)
    zero = Hands(hands.client, hands.probe, hands.clock, bool(hands.headers))
    zero.tap("start", kind="packed_crushed")
    assert CheckDraft.objects.count() == 2 and zero.look().context["phase"] == "prepare"
    shown = text(hands.client.get(reverse("probe_detail", args=[hands.probe.pk])))
    assert "check of its zero point" in shown and "check of its boiling point" in shown
    hands.client.post(
        reverse("zero_check_start", args=[hands.probe.pk]), {"again": str(CheckDraft.objects.get(kind="zero").key)}
    )
    assert hands.draft.kind == "boiling"


def test_a_check_left_for_an_hour_is_offered_again(hands):
    begun(hands)
    hands.wait(3600)
    shown = hands.look()
    assert shown.context["phase"] == "resume" and "off the boil" in text(shown)


def test_a_point_of_the_other_kind_is_not_found(hands):
    begun(hands)
    assert hands.tap("point", point="crushed", state="done").status_code == 404
