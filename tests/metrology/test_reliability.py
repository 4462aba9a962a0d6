"""Proportions and rates against scipy.stats, scipy.optimize and statsmodels, and the shrinkage against simulation."""

from math import exp, inf, log, nan

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import binomtest, chi2
from scipy.stats import gamma as gamma_distribution
from statsmodels.stats.proportion import proportion_confint

from compliance.metrology import reliability
from compliance.metrology.reliability import (
    ProportionMethod,
    Trial,
    days_for,
    exponential_rate,
    pool,
    proportion_interval,
    shrunk_rate,
)

counts = st.integers(1, 400).flatmap(lambda checks: st.tuples(st.integers(0, checks), st.just(checks)))


def weekly(failures, checks):
    return Trial(interval=7.0, failures=failures, checks=checks)


@pytest.mark.parametrize(
    ("failures", "checks", "method", "low", "high"),
    [
        (15, 148, ProportionMethod.WILSON, 0.0624, 0.1605),
        (15, 148, ProportionMethod.CLOPPER_PEARSON, 0.0578, 0.1617),
        (0, 20, ProportionMethod.WILSON, 0.0, 0.1611),
        (0, 20, ProportionMethod.CLOPPER_PEARSON, 0.0, 0.1684),
    ],
)
def test_intervals_for_15_of_148_and_none_of_20(failures, checks, method, low, high):
    """15 of 148 at 95 %: R. G. Newcombe, Statistics in Medicine 17 (1998), table I (from memory); 0 of 20 as well."""
    found = proportion_interval(failures, checks, method=method)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))
    assert found.share == failures / checks


@given(counts, st.floats(0.5, 0.999), st.sampled_from(ProportionMethod))
def test_intervals_for_proportions_agree_with_scipy_and_statsmodels(known, coverage, method):
    failures, checks = known
    found = proportion_interval(failures, checks, coverage, method)
    name = {"wilson": "wilson", "clopper_pearson": "exact"}[method.value]
    scipys = binomtest(failures, checks).proportion_ci(coverage, method=name)
    assert (found.low, found.high) == pytest.approx((scipys.low, scipys.high), abs=1e-9)
    name = {"wilson": "wilson", "clopper_pearson": "beta"}[method.value]
    assert (found.low, found.high) == pytest.approx(
        proportion_confint(failures, checks, 1 - coverage, method=name), abs=1e-9
    )


def test_the_rate_of_five_failures_in_a_hundred_weeks():
    """Computed: at one interval 1 - exp(-7λ) = 0.05, so λ is 0.00732761 per day and R 0.95 lasts just those 7 days."""
    found = exponential_rate([weekly(5, 100)])
    assert found.rate == pytest.approx(0.00732761, abs=5e-9)
    assert days_for(found.rate, 0.95) == pytest.approx(7.0, abs=5e-4)
    assert found.reliability(7) == pytest.approx(0.95)
    assert (found.failures, found.checks, found.checked_days) == (5, 100, 700)


def test_the_bound_for_a_year_without_a_failure():
    """Computed: 0.05 = exp(-364 λ), so λ is below 0.00823 per day at 95 %."""
    found = exponential_rate([weekly(0, 52)])
    assert (found.rate, found.low) == (0, 0)
    assert found.high == pytest.approx(0.00823, abs=5e-6)
    assert days_for(found.rate, 0.95) == inf


def test_the_bound_where_every_check_failed():
    """Exact: (1 - exp(-7λ))³ = 0.05 at the lower bound."""
    found = exponential_rate([weekly(3, 3)])
    assert (found.rate, found.high) == (inf, inf)
    assert (1 - exp(-7 * found.low)) ** 3 == pytest.approx(0.05)
    assert (found.reliability(1), found.reliability(0)) == (0, 1)
    assert days_for(inf, 0.95) == 0


def log_likelihood(rate, given):
    """From the binomial distribution, term by term."""
    return sum(
        t.failures * log(1 - exp(-rate * t.interval)) - rate * t.interval * (t.checks - t.failures) for t in given
    )


MIXED = [weekly(4, 80), Trial(interval=1.0, failures=1, checks=200), Trial(interval=30.0, failures=9, checks=30)]


def test_the_rate_agrees_with_an_optimiser_of_scipy():
    best = minimize_scalar(
        lambda rate: -log_likelihood(rate, MIXED), bounds=(1e-6, 1), method="bounded", options={"xatol": 1e-12}
    )
    assert exponential_rate(MIXED).rate == pytest.approx(best.x, rel=1e-6)


def test_the_ends_of_the_interval_are_where_the_likelihood_has_fallen_by_wilks():
    found = exponential_rate(MIXED, 0.9)
    for end in (found.low, found.high):
        ratio = 2 * (log_likelihood(found.rate, MIXED) - log_likelihood(end, MIXED))
        assert ratio == pytest.approx(chi2.ppf(0.9, 1), rel=1e-6)
    assert found.low < found.rate < found.high


@pytest.mark.parametrize("known", [MIXED, MIXED[:2], [Trial(interval=0.5, failures=2, checks=7), weekly(1, 90)]])
def test_the_rate_agrees_with_a_generalised_linear_model_of_statsmodels(known):
    """Binomial with complementary log-log link and offset ln t: ln(-ln(1 - p)) = ln λ + ln t, the very same model."""
    counted = np.array([[trial.failures, trial.checks - trial.failures] for trial in known])
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    offset = np.log([trial.interval for trial in known])
    fit = sm.GLM(counted, np.ones((len(known), 1)), family=family, offset=offset).fit(tol=1e-12)
    assert exponential_rate(known).rate == pytest.approx(exp(fit.params[0]), rel=1e-6)


def test_the_likelihood_interval_covers_as_stated():
    """Simulated with a fixed seed: 300 checks a week apart at 0.01 per day."""
    chance, held = np.random.default_rng(2), 0
    for failures in chance.binomial(300, 1 - exp(-0.07), 2000):
        found = exponential_rate([weekly(int(failures), 300)])
        held += found.low <= 0.01 <= found.high
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


def test_pooled_trials_give_the_same_rate():
    apart = [weekly(1, 20), Trial(interval=1.0, failures=0, checks=9), weekly(2, 30)]
    assert pool(apart) == (Trial(interval=1.0, failures=0, checks=9), weekly(3, 50))
    assert exponential_rate(pool(apart)).rate == pytest.approx(exponential_rate(apart).rate)


def test_much_evidence_of_its_own_leaves_little_to_the_fleet():
    own = [weekly(50, 1000)]
    found = shrunk_rate(own, [[weekly(0, 100)] for _ in range(10)])
    assert found.rate == pytest.approx(exponential_rate(own).rate, rel=0.1)
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
    for _ in range(12):
        rates = chance.gamma(1.5, 0.004, 25)
        fleet = [[weekly(int(chance.binomial(12, 1 - exp(-7 * rate))), 12)] for rate in rates]
        for probe, rate in enumerate(rates):
            found = shrunk_rate(fleet[probe], fleet[:probe] + fleet[probe + 1 :])
            held += found.low <= rate <= found.high
            probes += 1
    assert held / probes == pytest.approx(0.95, abs=0.035)


@pytest.mark.parametrize("bad", [(5, 4), (-1, 4), (0, 0)])
def test_counts_out_of_range_are_refused(bad):
    with pytest.raises(ValueError, match=r"failures from 0|at least one check"):
        proportion_interval(*bad)
    with pytest.raises(ValueError, match=r"failures from 0|at least one check"):
        exponential_rate([weekly(*bad)])


@pytest.mark.parametrize("interval", [0, -7, 3651, inf, nan])
def test_intervals_out_of_range_are_refused(interval):
    for call in (exponential_rate, shrunk_rate, pool):
        with pytest.raises(ValueError, match="intervals in days"):
            call([Trial(interval=interval, failures=0, checks=1)])


@pytest.mark.parametrize("probability", [0.49, 0.9991, nan])
def test_probabilities_out_of_range_are_refused(probability):
    for call in (
        lambda: proportion_interval(1, 2, probability),
        lambda: exponential_rate([weekly(1, 2)], probability),
        lambda: shrunk_rate([weekly(1, 2)], (), probability),
        lambda: days_for(0.01, probability),
    ):
        with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
            call()


def test_no_checks_at_all_and_rates_and_days_below_zero_are_refused():
    with pytest.raises(ValueError, match="at least one check"):
        exponential_rate([])
    for bad in (-0.1, nan):
        with pytest.raises(ValueError, match="rate of zero or more"):
            days_for(bad, 0.95)
        with pytest.raises(ValueError, match="days of zero or more"):
            exponential_rate([weekly(1, 2)]).reliability(bad)
