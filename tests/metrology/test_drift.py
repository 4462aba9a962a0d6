"""Trends against NIST StRD, GUM H.3, statsmodels and scipy; forecasts and sudden changes against simulated lives."""

from bisect import bisect
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_t

from compliance.metrology import drift, local_level
from compliance.metrology.drift import MOST_KINDS, ErrorPoint, days_within, leaves_tolerance, trend
from compliance.metrology.local_level import Model, Series

# NIST StRD, linear regression, data set Norris (x, y), and its certified values (from memory, recomputed). Of its other data
# sets NoInt1 and NoInt2 do not apply, as no line is ever put through zero here; nor do those of polynomials and of several
# predictors.
NORRIS = [
    (0.2, 0.1),
    (337.4, 338.8),
    (118.2, 118.1),
    (884.6, 888.0),
    (10.1, 9.2),
    (226.5, 228.1),
    (666.3, 668.5),
    (996.3, 998.5),
    (448.6, 449.1),
    (777.0, 778.9),
    (558.2, 559.2),
    (0.4, 0.3),
    (0.6, 0.1),
    (775.5, 778.1),
    (666.9, 668.8),
    (338.0, 339.3),
    (447.5, 448.9),
    (11.6, 10.8),
    (556.0, 557.7),
    (228.1, 228.3),
    (995.8, 998.0),
    (887.6, 888.8),
    (120.2, 119.6),
    (0.3, 0.3),
    (0.3, 0.6),
    (556.8, 557.6),
    (339.1, 339.3),
    (887.2, 888.0),
    (999.0, 998.5),
    (779.0, 778.9),
    (11.1, 10.2),
    (118.3, 117.6),
    (229.2, 228.9),
    (669.1, 668.4),
    (448.9, 449.2),
    (0.5, 0.2),
]
# JCGM 100:2008, H.3: temperature and correction of a thermometer in °C (seen).
THERMOMETER = [
    (21.521, -0.171),
    (22.012, -0.169),
    (22.512, -0.166),
    (23.003, -0.159),
    (23.507, -0.164),
    (23.999, -0.165),
    (24.513, -0.156),
    (25.002, -0.157),
    (25.503, -0.159),
    (26.010, -0.161),
    (26.511, -0.160),
]
KINDS = ["steady", "linear", "step", "drop", "wander"]
UNCERTAINTY = 0.06  # °C


def points(errors, standard=UNCERTAINTY, every=7.0, adjusted=()):
    return [
        ErrorPoint(at=every * n, error=float(error), standard=standard, after_adjustment=n in adjusted)
        for n, error in enumerate(errors)
    ]


def noisy(seed, count, **changes):
    """A weekly history that stands, but for `slope` (°C/day), a `step` (°C) before point `at`, `wander` (°C/week)."""
    chance = np.random.default_rng(seed)
    errors = chance.normal(0, UNCERTAINTY, count) + changes.get("slope", 0.0) * 7 * np.arange(count)
    errors += np.cumsum(chance.normal(0, 1, count)) * changes.get("wander", 0.0)
    errors[changes.get("at", count) :] += changes.get("step", 0.0)
    return errors


@pytest.fixture
def plain(monkeypatch):
    """No wander and no prior: what is left is an ordinary straight line."""
    monkeypatch.setattr(local_level, "SHARES", np.array([0.0]))
    monkeypatch.setattr(local_level, "SLOPE_SPREAD", 1e9)
    monkeypatch.setattr(local_level, "SCATTER_FREEDOM", 1e-9)


def line(pairs, at):
    """Level and slope at `at`, their standard uncertainties and the scatter, with the freedom of a line with two ends."""
    x, y = np.array(pairs).T
    ones = np.ones_like(x)
    mix = Model(Series(ahead=x - at, error=y, standard=ones, usual=1.0, pace=1.0)).solve([]).mixture
    lost = np.sqrt((len(x) - 1) / (len(x) - 2))  # a proper prior of the slope costs no degree of freedom
    spread = [np.sqrt(v[0]) * lost for v in (mix.level_variance, mix.slope_variance, mix.scatter)]
    return mix.level[0], mix.slope[0], *spread


def test_a_straight_line_as_certified_by_nist(plain):
    """NIST StRD, Norris: B0 -0.262323073774029 (0.232818234301152), B1 1.00211681802045 (0.000429796848199937)."""
    level, slope, level_u, slope_u, scatter = line(NORRIS, 0.0)
    assert level == pytest.approx(-0.262323073774029, rel=1e-7)
    assert slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert level_u == pytest.approx(0.232818234301152, rel=1e-7)
    assert slope_u == pytest.approx(0.000429796848199937, rel=1e-7)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-7)


def test_the_calibration_of_a_thermometer_as_in_the_gum(plain):
    """JCGM 100:2008, H.3: y1 -0.1712(29), y2 0.00218(67), s 0.0035, b(30 °C) -0.1494, u 0.0041 (from memory)."""
    level, slope, level_u, slope_u, scatter = line(THERMOMETER, 20.0)
    assert (level, level_u) == (pytest.approx(-0.1712, abs=5e-5), pytest.approx(0.0029, abs=5e-5))
    assert (slope, slope_u) == (pytest.approx(0.00218, abs=5e-6), pytest.approx(0.00067, abs=5e-6))
    assert scatter == pytest.approx(0.0035, abs=5e-5)
    there = line(THERMOMETER, 30.0)
    assert (there[0], there[2]) == (pytest.approx(-0.1494, abs=5e-5), pytest.approx(0.0041, abs=5e-5))


def series(count=12):
    chance = np.random.default_rng(4)
    ahead = np.sort(chance.uniform(-90, 0, count))
    ahead -= ahead[-1]
    standard = chance.uniform(0.03, 0.09, count)
    return Series(ahead=ahead, error=chance.normal(0, 0.1, count), standard=standard, usual=0.06, pace=7.5)


def wander(model, share):
    return local_level.SHARES[share] * model.series.usual**2 / model.series.pace


def covariance(model, share, steps=()):
    """Of the errors, in units of the scatter, without the level; from the definition of the model."""
    known, age = model.series, -model.series.ahead
    found = np.diag(known.standard**2) + wander(model, share) * np.minimum.outer(age, age)
    found += local_level.SLOPE_SPREAD**2 * np.outer(age, age)
    for position in steps:
        before = np.arange(len(age)) < position
        found += (local_level.STEP_SPREAD * known.usual) ** 2 * np.outer(before, before)
    return found


def evidence(model, share, steps=()):
    """Logarithm of the density of the differences of errors: the level drops out of them."""
    known = model.series
    differences = np.diff(np.eye(len(known.error)), axis=0)
    shape = differences @ covariance(model, share, steps) @ differences.T
    return multivariate_t(shape=shape, df=local_level.SCATTER_FREEDOM).logpdf(differences @ known.error)


def test_level_and_slope_with_wander_agree_with_generalised_least_squares(monkeypatch):
    """Against statsmodels GLS with the covariance of a random walk and unequal uncertainties."""
    from statsmodels.regression.linear_model import GLS  # heavier than all other imports of the tests

    monkeypatch.setattr(local_level, "SLOPE_SPREAD", 1e6)
    model = Model(series())
    mix = model.solve([]).mixture
    monkeypatch.setattr(local_level, "SLOPE_SPREAD", 0.0)
    for share in (0, 5, 12):
        design = np.column_stack([np.ones(model.series.ahead.size), model.series.ahead])
        fit = GLS(model.series.error, design, sigma=covariance(model, share)).fit()
        assert [mix.level[share], mix.slope[share]] == pytest.approx(fit.params, rel=1e-6)
        assert mix.level_variance[share] / mix.scatter[share] == pytest.approx(
            fit.normalized_cov_params[0, 0], rel=1e-6
        )
        assert mix.covariance[share] / mix.scatter[share] == pytest.approx(fit.normalized_cov_params[0, 1], rel=1e-6)


def test_shares_of_wander_are_weighed_by_their_exact_likelihood():
    """Against the multivariate Student's t of scipy.stats."""
    model = Model(series())
    logs = model.prior + [evidence(model, share) for share in range(len(local_level.SHARES))]
    weights = np.exp(logs - np.logaddexp.reduce(logs))
    assert model.solve([]).mixture.weight == pytest.approx(weights, rel=1e-6)


@pytest.mark.parametrize("known", [[], [4]])
def test_the_gain_of_a_step_is_the_exact_ratio_of_likelihoods(known):
    model, shares = Model(series()), range(len(local_level.SHARES))
    without = np.logaddexp.reduce(model.prior + [evidence(model, share, known) for share in shares])
    for position in (1, 7, 11):
        steps = [*known, position]
        with_step = np.logaddexp.reduce(model.prior + [evidence(model, share, steps) for share in shares])
        assert model.gains(known)[position - 1] == pytest.approx(with_step - without, rel=1e-6)


def test_the_smoothed_error_is_the_conditional_mean():
    """From the definition: the mean of level and wander given the errors, level vague."""
    model = Model(series())
    found = model.solve([])
    shown = 0
    for share, weight in enumerate(found.mixture.weight):
        full = covariance(model, share) + 1e6
        unscattered = full - np.diag(model.series.standard**2)
        shown = shown + weight * (unscattered @ np.linalg.solve(full, model.series.error))
    assert found.smoothed == pytest.approx(shown, abs=1e-5)


def test_a_forecast_is_the_conditional_distribution_of_the_next_error():
    """One share alone, against the normal conditional of the joint covariance with the next check."""
    history = trend(points(noisy(3, 9)), changes=())
    ahead = 11.0
    model = Model(
        Series(ahead=7.0 * np.arange(-8, 1), error=noisy(3, 9), standard=np.full(9, 0.06), usual=0.06, pace=7.0)
    )
    time = -np.append(model.series.ahead, ahead)
    centre = 0.0
    for share, weight in enumerate(history.mixture.weight):
        both = np.minimum.outer(time, time) * (np.minimum.outer(time, time) >= 0)
        both[-1, -1] = ahead
        joint = wander(model, share) * both + local_level.SLOPE_SPREAD**2 * np.outer(time, time) + 1e4
        joint += np.diag(np.full(10, 0.06**2))
        centre += weight * (joint[-1, :9] @ np.linalg.solve(joint[:9, :9], model.series.error))
    assert history.predict(history.last + ahead).centre == pytest.approx(centre, abs=1e-5)


GOOD, POOR = 0.044, 0.12  # °C, of two kinds of bath


def two_baths(seed, count=30):
    """A history that stands, three checks in ten made in a poor bath, and one more check of it."""
    chance = np.random.default_rng(seed)
    standards = np.where(chance.random(count + 1) < 0.3, POOR, GOOD)
    errors = standards * chance.normal(0, 1, count + 1)
    told = [ErrorPoint(at=7.0 * n, error=float(errors[n]), standard=float(standards[n])) for n in range(count)]
    return trend(told), float(errors[-1]), float(standards[-1])


def test_a_check_not_known_yet_is_foretold_as_a_mixture_of_the_kinds_so_far():
    """The distribution function of a mixture is the mean of those of its parts, by their shares."""
    history, _, _ = two_baths(1)
    mixed = history.predict(history.last + 7)
    below = 0.0
    for standard, share in history.kinds:
        centres, scales = history.mixture.spread(np.array([7.0]), history.mixture.scatter * standard**2)
        below += share * history.mixture.cumulated(mixed.low, centres, scales)[0]
    assert sum(share for _, share in history.kinds) == pytest.approx(1)
    assert below == pytest.approx(0.025, abs=1e-6)


def test_the_uncertainty_of_the_next_check_decides_how_wide_its_forecast_is():
    history, _, _ = two_baths(1)
    width = {}
    for standard in (GOOD, None, POOR):
        forecast = history.predict(history.last + 7, standard=standard)
        width[standard] = forecast.high - forecast.low
    assert width[GOOD] * 1.3 < width[None] < width[POOR] * 0.95


def test_the_uncertainty_of_the_next_check_tells_nothing_of_the_true_error():
    history, _, _ = two_baths(1)
    assert history.predict(history.last, measured=False) == history.predict(history.last, measured=False, standard=POOR)


def test_with_one_kind_of_check_the_next_is_like_the_others():
    history = trend(points(noisy(3, 9)))
    assert history.kinds == ((UNCERTAINTY, 1.0),)
    assert history.predict(history.last) == history.predict(history.last, standard=UNCERTAINTY)


def test_very_many_kinds_are_put_together_by_their_variances():
    standards = np.random.default_rng(1).uniform(0.02, 0.2, 40)
    kinds = trend([ErrorPoint(at=n, error=0.0, standard=float(s)) for n, s in enumerate(standards)]).kinds
    assert len(kinds) == MOST_KINDS
    assert sum(share * standard**2 for standard, share in kinds) == pytest.approx(np.mean(standards**2))


@pytest.mark.parametrize("known", [True, False])
def test_forecasts_hold_the_next_check_in_either_bath(known):
    """Of 80 at 0.95, fewer than 69 would happen by chance in 1 of 1000 such tests; the study of forecasts looks at more."""
    held = 0
    for seed in range(80):
        history, error, standard = two_baths(seed)
        forecast = history.predict(history.last + 7, standard=standard if known else None)
        held += forecast.low <= error <= forecast.high
    assert held >= 69


def life(kind, count, chance):
    """Times in days and true errors in °C: simulated, judgement."""
    times = np.cumsum(chance.choice([6.0, 7.0, 7.0, 8.0, 14.0], count))
    errors = np.full(count, chance.normal(0, 0.15))
    side = chance.choice([-1, 1])
    where = np.arange(count) >= chance.integers(1, count - 1)
    if kind == "linear":
        errors += side * chance.uniform(0.0005, 0.005) * times
    if kind == "step":
        errors += side * chance.uniform(0.3, 1) * where
    if kind == "drop":
        errors += where * (side * chance.uniform(0.5, 2) + chance.normal(0, 0.001) * (times - times[where][0]))
    if kind == "wander":
        errors += np.cumsum(chance.normal(0, 0.03, count) * np.sqrt(np.diff(times, prepend=times[0]) / 7))
    return times, errors


@pytest.mark.parametrize("kind", KINDS)
def test_forecasts_hold_the_next_error_in_95_of_100(kind):
    chance, held, lives = np.random.default_rng(KINDS.index(kind)), 0, 80
    for _ in range(lives):
        times, errors = life(kind, 26, chance)
        found = errors + chance.normal(0, UNCERTAINTY, 26)
        pairs = zip(times[:-1].tolist(), found[:-1].tolist(), strict=True)
        forecast = trend([ErrorPoint(at=at, error=error, standard=UNCERTAINTY) for at, error in pairs]).predict(
            times[-1]
        )
        held += forecast.low <= found[-1] <= forecast.high
    assert 0.90 <= held / lives <= 0.99


@pytest.mark.parametrize("roaming", [{}, {"slope": 0.01}, {"wander": UNCERTAINTY}, {"wander": 5 * UNCERTAINTY}])
def test_hardly_ever_is_a_change_found_where_there_is_none(roaming):
    """At most 1 in 100 is stated; of 80 histories up to 4 would happen by chance in 99.5 % of such tests."""
    assert sum(bool(trend(points(noisy(seed, 15, **roaming))).changes) for seed in range(80)) <= 4


@pytest.mark.parametrize("place", [3, 10, 18, 19])
def test_a_drop_is_found_at_its_place_even_if_only_the_last_check_shows_it(place):
    (change,) = trend(points(noisy(1, 20, step=-0.6, at=place))).changes
    assert (change.position, change.at, change.known) == (place, 7.0 * place, False)
    assert change.size == pytest.approx(-0.6, abs=3 * change.standard)


def test_an_adjustment_begins_anew_and_is_told_as_known():
    history = trend(points(noisy(2, 20, step=0.05, at=9), adjusted={9}))
    (change,) = history.changes
    assert (change.position, change.known) == (9, True)
    assert history.level == pytest.approx(0.05, abs=0.1)


def test_a_slope_goes_on_through_an_adjustment():
    history = trend(points(noisy(5, 30, slope=0.004, step=-0.5, at=15), adjusted={15}))
    assert history.slope == pytest.approx(0.004, abs=3 * history.slope_standard)
    assert history.slope_standard < 0.001


def test_changes_given_are_used_and_none_are_looked_for():
    errors = noisy(1, 20, step=1.0, at=10)
    assert trend(points(errors), changes=()).changes == ()
    assert [change.position for change in trend(points(errors), changes=[4, 10]).changes] == [4, 10]


def test_only_the_newest_count_and_positions_stay_those_of_all(monkeypatch):
    """500 as it stands; tried with fewer."""
    monkeypatch.setattr(drift, "MOST_POINTS", 100)
    history = trend(points(noisy(1, 120, step=1.0, at=80)))
    assert (history.count, history.first) == (100, 140.0)
    assert [change.position for change in history.changes] == [80]


@settings(max_examples=30)
@given(st.lists(st.floats(-2, 2), min_size=3, max_size=12), st.floats(0, 3650), st.floats(-5, 5))
def test_forecasts_are_in_order_widen_with_time_and_move_with_the_errors(errors, ahead, shift):
    history = trend(points(errors), changes=())
    end = history.last
    now, later = history.predict(end), history.predict(end + ahead)
    assert later.low <= later.high
    assert later.high - later.low >= (now.high - now.low) * (1 - 1e-9)
    narrow = history.predict(end + ahead, 0.5)
    assert later.low <= narrow.low <= narrow.high <= later.high
    moved = trend(points([error + shift for error in errors]), changes=()).predict(end + ahead)
    assert moved.low == pytest.approx(later.low + shift, abs=1e-6 * (1 + later.high - later.low))


def test_few_points_give_a_wider_forecast_than_many():
    few, many = trend(points(noisy(1, 3))), trend(points(noisy(1, 60)))
    assert few.predict(few.last + 7).high - few.predict(few.last + 7).low > 1.3 * (
        many.predict(many.last + 7).high - many.predict(many.last + 7).low
    )


def test_equal_figures_do_not_make_the_true_error_certain():
    """A bath or a display that is off alike in every check does not show as scatter."""
    history = trend(points([0.0] * 100))
    forecast = history.predict(history.last, measured=False)
    assert forecast.high > 1.8 * UNCERTAINTY


def test_the_dates_of_a_known_drift():
    """0.01 °C a day from zero meets 1 °C less twice 0.01 °C on day 98; the earliest date comes before."""
    errors = [0.01 * 7 * n for n in range(10)]
    found = leaves_tolerance(trend(points(errors, standard=0.01)), 1.0)
    assert found.central == pytest.approx(99, abs=1.5)
    assert found.earliest <= found.central
    assert found.earliest > 90


def test_a_probe_beyond_tolerance_has_left_it_already():
    history = trend(points([1.5] * 5))
    assert leaves_tolerance(history, 1.0).central == history.last
    assert days_within(history, 1.0, 0.95) == 0


def test_a_probe_that_stands_for_long_may_go_for_long():
    history = trend(points([0.0] * 200, standard=0.01))
    assert days_within(history, 1.0, 0.95, 90) == 90
    assert leaves_tolerance(history, 50.0).central is None


def test_the_day_until_which_a_probe_is_surely_within_is_found_as_if_each_day_were_looked_at():
    rng = np.random.default_rng(5)
    found = []
    for slope in (0.0, 0.0001, -0.001, 0.003):
        errors = [slope * 7 * n + rng.normal(0, 0.03) for n in range(20)]
        history = trend(points(errors, standard=0.03))
        for tolerance in (0.3, 2.5, 8.0):
            earliest = leaves_tolerance(history, tolerance).earliest
            found.append(earliest and earliest - history.last)
            assert earliest == first_day_beyond(history, tolerance)
    assert None in found and len({bisect([31, 374], days) for days in found if days is not None}) == 3


def first_day_beyond(history, tolerance):
    days, room = np.arange(3651.0), tolerance - 2 * history.standard
    mix = history.mixture
    spread = mix.spread(days, np.zeros_like(mix.weight))
    beyond = 1 - mix.cumulated(room, *spread) + mix.cumulated(-room, *spread) > 0.05
    beyond |= np.abs(history.level + history.slope * days) > room
    return float(history.last + days[np.argmax(beyond)]) if beyond.any() else None


def test_the_days_within_end_where_the_probability_passes_the_target():
    history = trend(points([0.01 * 7 * n for n in range(10)]))
    days = days_within(history, 1.0, 0.95, 90)
    assert history.probability_outside(history.last + days, 1.0) <= 0.05
    assert history.probability_outside(history.last + days + 1, 1.0) > 0.05


def test_checks_at_one_time_are_taken_together():
    assert trend([ErrorPoint(at=3, error=error, standard=0.05) for error in (0.1, 0.2, 0.3)]).level == pytest.approx(
        0.2
    )


def test_too_few_points_are_refused():
    with pytest.raises(ValueError, match="at least 3 checks with a figure; there are 2"):
        trend(points([0, 0]))


def test_points_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in order of time"):
        trend(points([0, 0, 0], every=-1.0))


@pytest.mark.parametrize(
    "bad", [{"error": nan}, {"at": inf}, {"standard": 0.0}, {"standard": 101.0}, {"standard": nan}]
)
def test_points_out_of_range_are_refused(bad):
    point = ErrorPoint(**{"at": 0.0, "error": 0.0, "standard": 0.1, **bad})
    with pytest.raises(ValueError, match="standard uncertainties from 0"):
        trend([point] * 3)


def test_forecasts_out_of_range_are_refused():
    history = trend(points([0, 0, 0]))
    for at in (13.9, 14 + 3651, nan):
        with pytest.raises(ValueError, match="from the last check"):
            history.predict(at)
    for coverage in (0.4, 0.9999, nan):
        with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
            history.predict(20, coverage)
        with pytest.raises(ValueError, match=r"from 0\.5 to 0\.999"):
            leaves_tolerance(history, 1.0, coverage)
    for standard in (0.0, -0.1, 101.0, nan):
        with pytest.raises(ValueError, match="standard uncertainty of the check to come"):
            history.predict(20, standard=standard)
    for tolerance in (0, -1, inf, nan):
        with pytest.raises(ValueError, match="tolerance above zero"):
            history.probability_outside(20, tolerance)
    with pytest.raises(ValueError, match="days to look ahead"):
        days_within(history, 1.0, 0.95, 0)
