"""Rates against scipy's quadrature, and the shrinkage against simulation."""

from math import exp, inf, log, nan

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma as gamma_distribution

from compliance.metrology import reliability
from compliance.metrology.reliability import Trial, days_for, shrunk_rate


def weekly(failures, checks):
    return Trial(interval=7.0, failures=failures, checks=checks)


def log_likelihood(rate, given):
    """From the binomial distribution, term by term."""
    return sum(
        t.failures * log(1 - exp(-rate * t.interval)) - rate * t.interval * (t.checks - t.failures) for t in given
    )


def test_much_evidence_of_its_own_leaves_little_to_the_fleet():
    """Alone its likeliest rate is -ln(0.95)/7 per day, since 1 - exp(-7λ) = 50/1000."""
    found = shrunk_rate([weekly(50, 1000)], [[weekly(0, 100)] for _ in range(10)])
    assert found.rate == pytest.approx(-log(0.95) / 7, rel=0.1)
    assert (found.failures, found.checks) == (50, 1000)


def test_a_probe_without_evidence_is_taken_to_be_like_its_fleet():
    fleet = [[weekly(5, 100)] for _ in range(20)]
    found = shrunk_rate([], fleet)
    assert found.rate == pytest.approx(0.0073, rel=0.2)
    assert found.low < 0.0073 < found.high


def test_few_data_give_a_wide_interval_between_those_of_probe_and_fleet():
    fleet = [[weekly(1, 100)] for _ in range(20)]
    alone, helped = shrunk_rate([weekly(1, 5)]), shrunk_rate([weekly(1, 5)], fleet)
    assert 0.0014 < helped.rate < alone.rate
    assert alone.high / alone.low > helped.high / helped.low


def test_unlike_probes_help_each_other_less_than_like_ones():
    like = [[weekly(3, 50)] for _ in range(12)]
    unlike = [[weekly(0, 50)] for _ in range(6)] + [[weekly(6, 50)] for _ in range(6)]
    own = [weekly(0, 10)]
    assert shrunk_rate(own, unlike).high / shrunk_rate(own, unlike).low > (
        2 * shrunk_rate(own, like).high / shrunk_rate(own, like).low
    )


def test_one_known_kind_gives_the_posterior_of_an_integral(monkeypatch):
    """Against scipy's quadrature, for a gamma distribution of shape 2 and mean 0.01 per day."""
    monkeypatch.setattr(reliability, "MEAN_RATES", np.array([0.01]))
    monkeypatch.setattr(reliability, "ALIKE", np.array([2.0]))
    reliability._kinds.cache_clear()
    own = [weekly(1, 12)]
    density = lambda rate: gamma_distribution(2, scale=0.005).pdf(rate) * exp(log_likelihood(rate, own))  # noqa: E731
    whole, _ = quad(density, 1e-9, 0.5, epsabs=0, limit=200)
    mean, _ = quad(lambda rate: rate * density(rate), 1e-9, 0.5, epsabs=0, limit=200)
    found = shrunk_rate(own)
    reliability._kinds.cache_clear()
    assert found.rate == pytest.approx(mean / whole, rel=1e-3)
    below, _ = quad(density, 1e-9, found.low, epsabs=0, limit=200)
    above, _ = quad(density, found.high, 0.5, epsabs=0, limit=200)
    assert (below / whole, above / whole) == (pytest.approx(0.025, abs=1e-3), pytest.approx(0.025, abs=1e-3))


def test_shrunk_intervals_cover_95_in_100_probes_of_a_fleet():
    """Simulated with a fixed seed: rates of a gamma distribution, 12 checks a week apart each."""
    chance = np.random.default_rng(6)
    held = probes = 0
    for _ in range(6):
        rates = chance.gamma(1.5, 0.004, 25)
        fleet = [[weekly(int(chance.binomial(12, 1 - exp(-7 * rate))), 12)] for rate in rates]
        for probe, rate in enumerate(rates):
            found = shrunk_rate(fleet[probe], fleet[:probe] + fleet[probe + 1 :])
            held += found.low <= rate <= found.high
            probes += 1
    assert held / probes == pytest.approx(0.95, abs=0.035)


@pytest.mark.parametrize("bad", [(5, 4), (-1, 4)])
def test_counts_out_of_range_are_refused(bad):
    with pytest.raises(ValueError, match="failures from 0"):
        shrunk_rate([weekly(*bad)])


@pytest.mark.parametrize("interval", [0, -7, 3651, inf, nan])
def test_intervals_out_of_range_are_refused(interval):
    with pytest.raises(ValueError, match="intervals in days"):
        shrunk_rate([Trial(interval=interval, failures=0, checks=1)])


@pytest.mark.parametrize("probability", [0.49, 0.9991, nan])
def test_probabilities_out_of_range_are_refused(probability):
    for call in (
        lambda: shrunk_rate([weekly(1, 2)], (), probability),
        lambda: days_for(0.01, probability),
    ):
        with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
            call()


def test_rates_and_days_below_zero_are_refused():
    for bad in (-0.1, nan):
        with pytest.raises(ValueError, match="rate of zero or more"):
            days_for(bad, 0.95)
        with pytest.raises(ValueError, match="days of zero or more"):
            shrunk_rate([weekly(1, 2)]).reliability(bad)
