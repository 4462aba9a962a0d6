"""Steam and air against published tables and an independent steam table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import iapws97

from compliance.metrology.steam import (
    CRITICAL,
    HOTTEST,
    TRIPLE_SIDE,
    saturation_temperature,
    standard_pressure,
    station_pressure,
)

PRESSURES = st.floats(TRIPLE_SIDE, CRITICAL)


class TestPublishedTables:
    @pytest.mark.parametrize("megapascal, kelvin", [(0.1, 372.755919), (1, 453.035632), (10, 584.149488)])
    def test_saturation_temperatures_of_iapws_r7_97_table_36(self, megapascal, kelvin):
        assert saturation_temperature(megapascal * 1e6) + 273.15 == pytest.approx(kelvin, abs=6e-7)

    @pytest.mark.parametrize(
        "metres, hectopascal",
        [(0, 1013.25), (1000, 898.746), (2000, 794.952), (3000, 701.085), (4000, 616.402), (5000, 540.199)],
    )
    def test_pressures_of_the_icao_standard_atmosphere(self, metres, hectopascal):
        """ICAO Doc 7488 / ISO 2533, geopotential altitudes; from memory."""
        assert standard_pressure(metres) / 100 == pytest.approx(hectopascal, abs=1e-3)

    def test_pressure_at_the_end_of_the_troposphere(self):
        """ICAO Doc 7488: 226.32 hPa at 11 km; from memory."""
        assert standard_pressure(11_000) == pytest.approx(22_632, abs=1)

    @pytest.mark.parametrize("metres, pascal, celsius", [(500, 95_460.835, 98.3125), (1500, 84_555.994, 94.9830)])
    def test_water_boils_cooler_in_the_mountains(self, metres, pascal, celsius):
        """Worked out from both sources with general libraries."""
        assert standard_pressure(metres) == pytest.approx(pascal, abs=1e-3)
        assert saturation_temperature(standard_pressure(metres)) == pytest.approx(celsius, abs=1e-4)

    def test_under_the_standard_atmosphere_water_boils_just_below_100(self):
        """99.974 °C on ITS-90; widely published."""
        assert saturation_temperature(101_325) == pytest.approx(99.974, abs=1e-3)


class TestAgainstAnIndependentSteamTable:
    def test_saturation_temperature_over_the_whole_range(self):
        pressures = np.geomspace(TRIPLE_SIDE, CRITICAL, 2000)[1:-1]
        found = [saturation_temperature(p) + 273.15 for p in pressures]
        assert np.allclose(found, [iapws97._TSat_P(p / 1e6) for p in pressures], rtol=0, atol=1e-8)


class TestProperties:
    @given(PRESSURES, st.floats(1.0001, 10))
    def test_more_pressure_boils_hotter(self, pressure, times):
        assert saturation_temperature(min(pressure * times, CRITICAL)) >= saturation_temperature(pressure)

    @given(st.floats(-500, 10_990), st.floats(0.1, 10))
    def test_higher_up_the_air_is_thinner(self, altitude, more):
        assert standard_pressure(altitude + more) < standard_pressure(altitude)

    @given(st.floats(1, 11_000), st.floats(-60, 50))
    def test_warm_air_loses_less_pressure_with_height(self, altitude, temperature):
        cold, warm = (station_pressure(101_325, altitude, t) for t in (temperature, temperature + 10))
        assert cold < warm < 101_325

    @given(st.floats(80_000, 110_000), st.floats(-60, 60))
    def test_at_sea_level_a_report_needs_no_conversion(self, pressure, temperature):
        assert station_pressure(pressure, 0, temperature) == pressure

    def test_the_lapse_of_warmth_follows_the_hydrostatic_equation(self):
        """dp/dh = -p·g/(R·T), integrated here step by step with another method than the closed formula."""
        pressure, steps = 101_325.0, 20_000
        for step in range(steps):
            middle = (step + 0.5) * 3000 / steps
            pressure *= np.exp(-9.80665 * 3000 / steps / (287.05287 * (303.15 - 0.0065 * middle)))
        assert station_pressure(101_325, 3000, 30) == pytest.approx(pressure, rel=1e-8)


NAN, INF = float("nan"), float("inf")


class TestRefusals:
    @pytest.mark.parametrize("pressure", [611.212, 22_064_001, 0, -1, NAN, INF])
    def test_a_pressure_out_of_range(self, pressure):
        with pytest.raises(ValueError, match="1 hPa is 100 Pa"):
            saturation_temperature(pressure)

    @pytest.mark.parametrize("altitude", [-501, 11_001, NAN, INF])
    def test_an_altitude_out_of_range(self, altitude):
        with pytest.raises(ValueError, match="altitude above sea level in m"):
            standard_pressure(altitude)

    @pytest.mark.parametrize("pressure", [79_999, 110_001, 1013, NAN])
    def test_a_sea_level_pressure_out_of_range(self, pressure):
        with pytest.raises(ValueError, match="at sea level in Pa"):
            station_pressure(pressure, 100)

    @pytest.mark.parametrize("temperature", [-61, 61, NAN])
    def test_air_too_cold_or_too_hot(self, temperature):
        with pytest.raises(ValueError, match="air at sea level"):
            station_pressure(101_325, 100, temperature)

    def test_the_ends_of_the_ranges_are_taken(self):
        assert saturation_temperature(TRIPLE_SIDE) == pytest.approx(0, abs=1e-5)
        assert saturation_temperature(CRITICAL) == pytest.approx(HOTTEST, abs=1e-3)
        assert standard_pressure(-500) > 101_325 > standard_pressure(11_000)
        assert station_pressure(80_000, 0, -60) == 80_000 and station_pressure(110_000, 0, 60) == 110_000
