"""The reference at boiling and the verdict on it, against steam tables, the standard atmosphere and the trade's cautions."""

from dataclasses import replace
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import iapws97

from compliance.metrology.air_pressure import PressureLevel, PressureSource, Surroundings, air_pressure, asks_level
from compliance.metrology.boiling import (
    CRITICAL,
    CUSTOMARY_BAND,
    MISSING,
    UNCONFIRMED,
    WANTED,
    BoilingKind,
    BoilingPoint,
    BoilingPreparation,
    BoilingWidths,
    elevation,
    judge_boiling_reference,
    judge_rise,
    verify_boiling,
)
from compliance.metrology.conformity import DecisionRule
from compliance.metrology.settling import SettlingState, TimedValue, judge_settling
from compliance.metrology.steam import saturation_temperature, standard_pressure, station_pressure
from compliance.metrology.verification import Instrument
from compliance.metrology.vocabulary import Medium, Sensor, Verdict

STEAM = BoilingPreparation(kind=BoilingKind.STEAM, points=frozenset(BoilingPoint))
ROLLING = BoilingPreparation(kind=BoilingKind.ROLLING, points=frozenset(BoilingPoint))
PROBE = Instrument(sensor=Sensor.THERMISTOR, resolution=0.1, tolerance=1.0)
ALTITUDES = st.floats(0, 4000)
WEATHERS = st.floats(98_000, 104_000)


def station(altitude: float, pressure: float | None = None) -> Surroundings:
    return Surroundings(
        source=PressureSource.STATION,
        pressure=pressure or standard_pressure(altitude),
        altitude=altitude,
        level=PressureLevel.HERE,
    )


def report(altitude: float, pressure: float = 101_325) -> Surroundings:
    return Surroundings(
        source=PressureSource.SEA_LEVEL, pressure=pressure, altitude=altitude, level=PressureLevel.SEA_LEVEL
    )


def by_altitude(altitude: float) -> Surroundings:
    return Surroundings(source=PressureSource.ALTITUDE, pressure=None, altitude=altitude)


def rising_to(value: float, resolution: float = 0.1) -> list[TimedValue]:
    """Up from a room at 20 °C with a fast and a slower part, read every 5 s for four minutes."""
    gaps = [(t, 0.7 * 2.718281828 ** (-t / 4) + 0.3 * 2.718281828 ** (-t / 8)) for t in range(0, 245, 5)]
    steps = [(t, round((value - (value - 20) * gap) / resolution)) for t, gap in gaps]
    return [TimedValue(elapsed=float(t), value=round(step * resolution, 3)) for t, step in steps]


def names(reference) -> list[str]:
    return [part.name for part in reference.components]


class TestReference:
    @pytest.mark.parametrize("metres, celsius", [(0, 99.974), (500, 98.3125), (1500, 94.9830)])
    def test_the_temperature_follows_from_the_altitude(self, metres, celsius):
        """IAPWS R7-97 and the ICAO atmosphere, worked out with general libraries."""
        assert judge_boiling_reference(STEAM, by_altitude(metres)).temperature == pytest.approx(celsius, abs=1e-3)

    @given(ALTITUDES, WEATHERS)
    def test_it_is_that_of_an_independent_steam_table(self, altitude, sea_level):
        pressure = station_pressure(sea_level, altitude)
        found = judge_boiling_reference(STEAM, station(altitude, pressure))
        assert found.temperature == pytest.approx(iapws97._TSat_P(pressure / 1e6) - 273.15, abs=1e-6)
        assert found.pressure == pressure and found.medium is Medium.STEAM

    @given(ALTITUDES, WEATHERS)
    def test_a_report_is_brought_up_to_the_kitchen(self, altitude, sea_level):
        assert air_pressure(report(altitude, sea_level)) == station_pressure(sea_level, altitude)

    def test_a_report_taken_for_a_barometer_would_be_one_degree_wrong_at_300_m(self):
        """Worked out: 0.0277 K for each hPa, 36 hPa in 300 m."""
        right = judge_boiling_reference(STEAM, report(300)).temperature
        assert saturation_temperature(101_325) - right == pytest.approx(1.0, abs=0.01)

    @given(ALTITUDES)
    def test_the_better_the_pressure_is_known_the_narrower(self, altitude):
        known = [judge_boiling_reference(STEAM, make(altitude)) for make in (station, report, by_altitude)]
        widths = [reference.within for reference in known]
        assert widths[0] < widths[2] and widths[1] < widths[2]
        assert widths[0] < 0.2

    def test_the_weather_alone_is_worth_about_four_tenths_of_a_degree(self):
        """14 hPa times the 0.0277 K/hPa of the steam table; the spread of 14 hPa is judgement."""
        reference = judge_boiling_reference(STEAM, by_altitude(0))
        part = next(part for part in reference.components if part.name == "weather")
        assert part.standard == pytest.approx(0.388, abs=0.001)

    def test_each_way_of_knowing_the_pressure_has_its_own_lines(self):
        assert names(judge_boiling_reference(STEAM, station(500))) == ["barometer", "steam"]
        assert names(judge_boiling_reference(STEAM, report(500))) == [
            "weather report",
            "altitude",
            "warmth of the air",
            "steam",
        ]
        assert names(judge_boiling_reference(ROLLING, by_altitude(500))) == [
            "weather",
            "altitude",
            "warmth of the air",
            "superheat",
            "dissolved matter",
        ]

    def test_the_lines_in_figures(self):
        parts = {p.name: p for p in judge_boiling_reference(ROLLING, report(1500)).components}
        slope = saturation_temperature(84_556 + 50) - saturation_temperature(84_556 - 50)
        assert parts["weather report"].value == pytest.approx(4 * slope * 84_556 / 101_325, rel=1e-4)
        assert parts["altitude"].value == pytest.approx(0.0033 * 20, rel=0.06)
        cold = 101_325 * (1 - 0.0065 * 1500 / 253.15) ** 5.255876  # the formula of ICAO Doc 7488 with -20 for 15 °C
        assert parts["warmth of the air"].value == pytest.approx(
            iapws97._TSat_P(0.084555994) - iapws97._TSat_P(cold / 1e6), abs=1e-4
        )
        assert (parts["superheat"].value, parts["dissolved matter"].value) == (0.2, pytest.approx(0.01752, abs=1e-5))

    @given(st.floats(-400, 4000), st.floats(-20, 35))
    def test_no_air_in_the_stated_range_leads_out_of_its_line(self, altitude, warmth):
        """The hydrostatic equation with the lapse rate of ICAO Doc 7488; the range of -20 to 35 °C is judgement."""
        parts = {p.name: p for p in judge_boiling_reference(STEAM, by_altitude(altitude)).components}
        here = iapws97._TSat_P(station_pressure(101_325, altitude, warmth) / 1e6)
        off = abs(here - iapws97._TSat_P(standard_pressure(altitude) / 1e6))
        assert off <= parts["warmth of the air"].value + 1e-6

    def test_a_barometer_is_taken_within_three_hectopascals(self):
        part = judge_boiling_reference(STEAM, station(0)).components[0]
        assert part.standard == pytest.approx(3 * 0.0277 / sqrt(3), abs=1e-4)

    def test_it_says_what_it_stands_for(self):
        reference = judge_boiling_reference(STEAM, station(500))
        assert reference.why[0] == "Water boils at 98.3 °C here, under 955 hPa, within 0.15 °C."
        assert len(judge_boiling_reference(STEAM, station(0)).why) == 1


class TestSalt:
    def test_ten_grams_of_salt_in_a_kilogram_raise_it_by_0_17(self):
        """Common figure of physical chemistry, worked out from Kb = 0.512 K·kg/mol."""
        assert elevation(10) == pytest.approx(0.17, abs=0.01)
        assert elevation(0) == 0 and elevation(60) > 1

    @pytest.mark.parametrize("salt", [-0.1, 60.1, float("nan")])
    def test_an_amount_out_of_range(self, salt):
        with pytest.raises(ValueError, match="grams per kilogram"):
            elevation(salt)


class TestPan:
    @pytest.mark.parametrize("kind", [BoilingKind.QUIET, BoilingKind.UNCONFIRMED])
    def test_a_quiet_or_unconfirmed_pan_is_no_reference(self, kind):
        """A quiet pan superheats by some tenths: common practice."""
        prepared = BoilingPreparation(kind=kind, points=frozenset(BoilingPoint))
        reference = judge_boiling_reference(prepared, station(0))
        assert not reference.usable and reference.why[0] == "The pan does not stand for the boiling point."
        assert len(reference.why) == 2

    @pytest.mark.parametrize("kind", list(WANTED))
    @pytest.mark.parametrize("point", list(BoilingPoint))
    def test_each_missing_point_widens_it_or_spoils_it(self, kind, point):
        full = judge_boiling_reference(BoilingPreparation(kind=kind, points=frozenset(BoilingPoint)), station(0))
        lacking = BoilingPreparation(kind=kind, points=frozenset(BoilingPoint) - {point})
        unsaid = judge_boiling_reference(lacking, station(0))
        less = judge_boiling_reference(replace(lacking, left=frozenset({point})), station(0))
        assert full.usable and full.missing == ()
        if point not in WANTED[kind]:
            assert less == full
            return
        assert less.missing == (point,) and MISSING[point] in less.why
        assert replace(unsaid, why=less.why) == less and UNCONFIRMED[point] in unsaid.why
        assert less.usable is (point not in CRITICAL[kind])
        assert less.within > full.within + 0.1

    def test_a_lid_counts_in_steam_only(self):
        assert BoilingPoint.COVERED in CRITICAL[BoilingKind.STEAM]
        assert BoilingPoint.COVERED not in WANTED[BoilingKind.ROLLING]

    def test_salt_spoils_boiling_water_and_not_its_steam(self):
        assert BoilingPoint.FRESH in CRITICAL[BoilingKind.ROLLING]
        assert BoilingPoint.FRESH not in CRITICAL[BoilingKind.STEAM]

    def test_widths_must_grow(self):
        with pytest.raises(ValueError, match="grow from steam"):
            BoilingWidths(steam=0.3, rolling=0.2)
        wide = judge_boiling_reference(STEAM, station(0), BoilingWidths(steam=0.3, rolling=0.3, incomplete=0.3))
        assert wide.components[-1].value == 0.3

    def test_what_to_do_better_goes_by_what_is_most_uncertain(self):
        assert "barometer" in judge_boiling_reference(STEAM, by_altitude(0)).again
        assert "lid" in judge_boiling_reference(ROLLING, station(0)).again
        quiet = BoilingPreparation(kind=BoilingKind.QUIET, points=frozenset())
        assert "lid" in judge_boiling_reference(quiet, by_altitude(0)).again


class TestRefusals:
    @pytest.mark.parametrize("altitude", [400, 500, 1500, 4000])
    def test_a_pressure_at_sea_level_is_recognised_and_refused(self, altitude):
        with pytest.raises(ValueError, match="1013 hPa is a pressure at sea level") as refused:
            judge_boiling_reference(STEAM, station(altitude, 101_325))
        assert f"At {altitude} m a barometer shows about" in str(refused.value)
        assert "Enter what a barometer in the kitchen shows" in str(refused.value)

    @pytest.mark.parametrize("altitude", [700, 1500, 4000])
    def test_a_barometers_pressure_is_not_taken_for_one_at_sea_level(self, altitude):
        with pytest.raises(ValueError, match="is what a barometer shows on the spot") as refused:
            judge_boiling_reference(STEAM, report(altitude, standard_pressure(altitude)))
        assert "weather report" in str(refused.value)

    @pytest.mark.parametrize(
        "altitude, pressure", [(0, 86_900), (0, 108_600), (1500, 70_000), (0, 1013), (500, 120_000)]
    )
    def test_a_pressure_that_cannot_be(self, altitude, pressure):
        """870 and 1085 hPa are the records at sea level, from memory."""
        with pytest.raises(ValueError, match="The air pressure cannot be"):
            judge_boiling_reference(STEAM, station(altitude, pressure))

    @pytest.mark.parametrize("pressure", [60_000, 108_600, float("nan")])
    def test_a_report_that_cannot_be(self, pressure):
        with pytest.raises(ValueError, match="A weather report cannot say"):
            judge_boiling_reference(STEAM, report(0, pressure))

    def test_the_records_themselves_can_be_near_sea_level(self):
        for pressure in (87_000, 108_500):
            assert judge_boiling_reference(STEAM, station(0, pressure)).usable
            assert judge_boiling_reference(STEAM, report(99, pressure)).usable

    def test_farther_up_the_bounds_are_closer(self):
        for make, least, most in ((report, 94_850, 105_050), (station, 93_750, 103_800)):
            assert judge_boiling_reference(STEAM, make(100, least)).pressure
            assert judge_boiling_reference(STEAM, make(100, most)).pressure
            for beyond in (least - 100, most + 100):
                with pytest.raises(ValueError, match="hPa"):
                    judge_boiling_reference(STEAM, make(100, beyond))

    @given(st.floats(0, 4000), st.floats(95_100, 104_900), st.floats(-20, 35))
    def test_a_barometer_is_refused_in_no_weather_and_no_air_of_the_stated_ranges(self, altitude, sea_level, warmth):
        here = station_pressure(sea_level, altitude, warmth)
        assert judge_boiling_reference(STEAM, station(altitude, here)).pressure == here
        reduced = here * 101_325 / standard_pressure(altitude)
        assert judge_boiling_reference(STEAM, report(altitude, reduced)).pressure == pytest.approx(here)

    @given(ALTITUDES, WEATHERS)
    def test_a_true_barometer_is_never_refused(self, altitude, sea_level):
        assert judge_boiling_reference(STEAM, station(altitude, station_pressure(sea_level, altitude))).usable

    @pytest.mark.parametrize("altitude", [-451, 6001, float("nan"), float("inf")])
    def test_an_altitude_without_kitchens(self, altitude):
        with pytest.raises(ValueError, match="altitude of the kitchen in metres"):
            judge_boiling_reference(STEAM, by_altitude(altitude))

    @pytest.mark.parametrize("altitude", [-450, 6000])
    def test_the_lowest_and_the_highest_kitchen(self, altitude):
        assert judge_boiling_reference(STEAM, by_altitude(altitude)).usable
        assert judge_boiling_reference(STEAM, report(altitude)).usable

    @pytest.mark.parametrize("source", [PressureSource.STATION, PressureSource.SEA_LEVEL])
    def test_a_missing_pressure(self, source):
        with pytest.raises(ValueError, match="let the altitude stand for it"):
            judge_boiling_reference(STEAM, Surroundings(source=source, pressure=None, altitude=0))

    def test_a_pressure_of_nowhere(self):
        with pytest.raises(ValueError, match="Say whether this pressure"):
            judge_boiling_reference(STEAM, Surroundings(source=PressureSource.ALTITUDE, pressure=101_325, altitude=0))


def unanswered(told: Surroundings) -> Surroundings:
    return replace(told, level=None)


class TestOneOrTheOther:
    """A pressure that may be of this place or reduced to sea level."""

    @given(
        st.floats(-450, 4000),
        st.floats(95_000, 105_000),
        st.sampled_from([PressureSource.STATION, PressureSource.SEA_LEVEL]),
    )
    def test_a_report_given_as_a_barometers_or_the_reverse_is_refused_or_asked_about(self, altitude, pressure, source):
        """Wherever the confusion is worth 0.1 °C, 0.0033 K/m by IAPWS R7-97 and ICAO Doc 7488, it never passes in silence."""
        told = Surroundings(source=source, pressure=pressure, altitude=altitude)
        try:
            reference = judge_boiling_reference(STEAM, told)
        except ValueError:
            return
        other = replace(told, level=PressureLevel.HERE if told.reduced else PressureLevel.SEA_LEVEL)
        try:
            off = abs(judge_boiling_reference(STEAM, other).temperature - reference.temperature)
        except ValueError:  # it can only be what it was given as
            assert reference.usable
            return
        assert reference.usable is (abs(altitude) < 25) and (not reference.usable or off < 0.1)

    @pytest.mark.parametrize(
        "altitude, pressure, asked",
        [
            (300, 97_500, True),
            (520, 95_300, True),
            (25, 101_000, True),
            (800, 95_100, True),
            (24, 101_000, False),
            (300, 94_000, False),
            (1500, 84_600, False),
            (3000, 70_000, False),
            (-430, 107_000, False),
        ],
    )
    def test_it_is_asked_where_both_can_be_and_nowhere_else(self, altitude, pressure, asked):
        """From 950 to 1050 hPa at sea level, judgement; by ICAO Doc 7488 a barometer shows 978 hPa at 300 m, 845 at 1500 m."""
        told = unanswered(station(altitude, pressure))
        assert asks_level(told) is asked
        assert judge_boiling_reference(STEAM, told).usable is not asked
        assert judge_boiling_reference(STEAM, station(altitude, pressure)).usable

    @pytest.mark.parametrize("level", [None, PressureLevel.UNKNOWN])
    def test_without_an_answer_no_probe_passes_and_none_fails(self, level):
        for value in (98.3, 95.0):
            found = verify_boiling(rising_to(value), STEAM, replace(station(520, 95_300), level=level), PROBE)
            assert found.verdict is Verdict.INCONCLUSIVE
            told = " ".join(found.why)
            assert "under which pressure" in told and "953 hPa may be the pressure of this place" in told
            assert "the altitude alone" in found.why[-1]

    def test_the_answer_decides_under_which_pressure_it_boils(self):
        """975 hPa at 300 m: 98.9 °C as it stands, reduced to sea level 941 hPa (ICAO Doc 7488) and 97.9 °C (iapws)."""
        for make in (station, report):
            here = replace(make(300, 97_500), level=PressureLevel.HERE)
            at_sea = replace(here, level=PressureLevel.SEA_LEVEL)
            assert judge_boiling_reference(STEAM, here).temperature == pytest.approx(98.9, abs=0.05)
            assert judge_boiling_reference(STEAM, at_sea).temperature == pytest.approx(97.9, abs=0.05)
            assert "warmth of the air" in names(judge_boiling_reference(STEAM, at_sea))
        assert names(judge_boiling_reference(STEAM, replace(here, source=PressureSource.STATION))) == [
            "barometer",
            "steam",
        ]
        assert names(judge_boiling_reference(STEAM, here)) == ["weather report", "altitude", "steam"]

    def test_an_answer_that_cannot_be_is_refused(self):
        with pytest.raises(ValueError, match="what a barometer shows on the spot"):
            judge_boiling_reference(STEAM, replace(station(1500), level=PressureLevel.SEA_LEVEL))
        with pytest.raises(ValueError, match="is a pressure at sea level"):
            judge_boiling_reference(STEAM, replace(report(1500), level=PressureLevel.HERE))

    def test_a_pan_that_does_not_serve_is_said_first(self):
        quiet = BoilingPreparation(kind=BoilingKind.QUIET, points=frozenset())
        why = judge_boiling_reference(quiet, unanswered(station(520, 95_300))).why
        assert why[0] == "The pan does not stand for the boiling point." and "may be the pressure" in why[-1]


class TestPerfectProbe:
    @given(ALTITUDES, st.sampled_from([station, report, by_altitude]), st.sampled_from([STEAM, ROLLING]))
    def test_it_never_fails_and_passes_wherever_the_pressure_is_known_well_enough(self, altitude, how, prepared):
        told = how(altitude)
        truth = saturation_temperature(air_pressure(told))
        found = verify_boiling(rising_to(truth), prepared, told, PROBE)
        assert abs(found.error) < 0.1 and found.verdict is not Verdict.OUT_OF_TOLERANCE
        if altitude <= {station: 4000, report: 1500, by_altitude: 500}[how]:
            assert found.verdict is Verdict.IN_TOLERANCE

    @pytest.mark.parametrize("make, altitude", [(report, 3000), (by_altitude, 2000)])
    def test_far_up_only_a_barometer_clears_it(self, make, altitude):
        told = make(altitude)
        found = verify_boiling(rising_to(saturation_temperature(air_pressure(told))), STEAM, told, PROBE)
        assert found.verdict is Verdict.INCONCLUSIVE and "barometer on the spot" in found.why[-1]

    @given(ALTITUDES, WEATHERS)
    def test_with_a_barometer_it_passes_a_guarded_half_degree_in_any_weather(self, altitude, sea_level):
        told = station(altitude, station_pressure(sea_level, altitude))
        fine = Instrument(sensor=Sensor.PT100_A, resolution=0.1, tolerance=0.5)
        found = verify_boiling(
            rising_to(saturation_temperature(told.pressure)), STEAM, told, fine, DecisionRule.GUARDED
        )
        assert found.verdict is Verdict.IN_TOLERANCE

    def test_the_customary_band_condemns_it_above_293_m(self):
        """The band of 99 to 101 °C is common practice; 293 m worked out from IAPWS R7-97 and the ICAO atmosphere."""
        low, high = CUSTOMARY_BAND
        assert saturation_temperature(standard_pressure(293)) >= low > saturation_temperature(standard_pressure(294))
        assert saturation_temperature(97_860) >= low > saturation_temperature(97_840), "below 978.5 hPa at any height"
        assert high > saturation_temperature(101_325)

    @pytest.mark.parametrize("altitude, told", [(293, False), (294, True), (3000, True), (-400, True), (-200, False)])
    def test_where_the_customary_band_fails_it_is_said(self, altitude, told):
        why = judge_boiling_reference(STEAM, by_altitude(altitude)).why
        assert any("99 to 101" in line for line in why) is told


class TestVerdict:
    def test_a_bad_probe_fails_and_what_follows_is_said(self):
        found = verify_boiling(rising_to(100.3), STEAM, station(500), PROBE)
        assert found.verdict is Verdict.OUT_OF_TOLERANCE and found.error == pytest.approx(1.99, abs=0.02)
        assert found.why[0] == "Out of tolerance: stop using this probe." and "away from zero" in found.why[-1]

    def test_the_same_probe_would_pass_the_customary_band(self):
        assert CUSTOMARY_BAND[0] <= 100.3 <= CUSTOMARY_BAND[1]

    def test_a_good_one_still_needs_its_zero_check(self):
        found = verify_boiling(rising_to(98.3), STEAM, station(500), PROBE)
        assert found.why[0].startswith("In tolerance at the boiling point.") and "zero" in found.why[0]

    def test_a_quiet_pan_is_inconclusive_however_good_the_figure(self):
        quiet = BoilingPreparation(kind=BoilingKind.QUIET, points=frozenset(BoilingPoint))
        found = verify_boiling(rising_to(98.3), quiet, station(500), PROBE)
        assert found.verdict is Verdict.INCONCLUSIVE and "boil hard" in " ".join(found.why)

    def test_still_rising_is_inconclusive(self):
        found = verify_boiling(rising_to(98.3)[:4], STEAM, station(500), PROBE)
        assert found.verdict is Verdict.INCONCLUSIVE and found.error is None
        assert found.settling.state is SettlingState.RISING

    def test_the_pressure_guessed_from_the_altitude_cannot_clear_a_fine_probe(self):
        fine = Instrument(sensor=Sensor.PT100_A, resolution=0.1, tolerance=0.5)
        found = verify_boiling(rising_to(98.3), STEAM, by_altitude(500), fine)
        assert found.verdict is Verdict.INCONCLUSIVE and "barometer" in found.why[-1]

    def test_a_depth_that_was_measured_counts(self):
        shallow = verify_boiling(rising_to(98.3), STEAM, station(500), PROBE, immersion_mm=10)
        deep = verify_boiling(rising_to(98.3), STEAM, station(500), PROBE, immersion_mm=150)
        assert shallow.expanded > deep.expanded


class TestRise:
    def test_the_way_up_is_longer_than_down_to_ice_and_widens_the_bound(self):
        readings = rising_to(98.3)
        assert judge_rise(readings, 0.1).residual == pytest.approx(3.2 * judge_settling(readings, 0.1).residual)
        found = verify_boiling(readings[-1:], STEAM, station(500), PROBE)
        parts = {part.name: part.standard for part in found.budget.components}
        bound = judge_rise(readings[-1:], 0.1).residual
        assert sqrt(parts["settling"] ** 2 + parts["way up"] ** 2) == pytest.approx(bound / sqrt(3), rel=1e-6)

    def test_what_went_off_the_boil_is_told_without_ice(self):
        readings = rising_to(98.3) + [TimedValue(elapsed=245.0 + 5 * n, value=97.0 - n) for n in range(6)]
        rise = judge_rise(readings, 0.1)
        assert rise.state is SettlingState.DRIFTING and "boiling hard" in rise.sentence
        found = verify_boiling(readings, STEAM, station(500), PROBE)
        assert found.verdict is Verdict.INCONCLUSIVE
        told = " ".join((*found.why, *found.figures, found.settling.sentence))
        assert "boiling hard" in told and "ice" not in told.split()
