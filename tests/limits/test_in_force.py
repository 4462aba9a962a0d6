"""Which version of a limit holds at a moment, at a site: against a plain walk over all versions, in any order of arrival."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.limits.models import LimitVersion
from compliance.limits.queries import limits_in_force, version_in_force, versions_in_force
from tests.world import make_limit, make_version

START = datetime(2026, 1, 1, tzinfo=UTC)


def day(number):
    return START + timedelta(days=number)


def by_walking(versions, at):
    """What holds at `at`, the plain way: go through all that were recorded, keep the latest to begin, the later on a tie."""
    holding = None
    for version in versions:  # in the order of recording
        if version.effective_from <= at and (holding is None or version.effective_from >= holding.effective_from):
            holding = version
    return holding if holding and holding.in_force else None


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    recorded=st.lists(st.tuples(st.integers(0, 6), st.integers(-5, 12), st.booleans()), max_size=8),
    asked=st.integers(-1, 7),
)
def test_the_version_in_force_is_the_one_a_walk_finds(world, recorded, asked):
    limit = make_limit(world.site, by=world.manager, code=f"l{world.site.limits.count()}", effective_from=day(3))
    for begins, value, in_force in recorded:
        make_version(limit, by=world.manager, value=str(value), effective_from=day(begins), in_force=in_force)
    expected = by_walking(list(limit.versions.order_by("pk")), day(asked))
    assert version_in_force(limit, day(asked)) == expected
    of_site = {v.limit_id: v for v in versions_in_force(world.site, day(asked))}
    assert of_site.get(limit.pk) == expected
    assert (limit in limits_in_force(world.site, day(asked))) == (expected is not None)


def test_a_version_holds_from_its_very_moment_and_not_before(world):
    limit = make_limit(world.site, by=world.manager, code="soup", effective_from=day(1))
    assert version_in_force(limit, day(1) - timedelta(microseconds=1)) is None
    assert version_in_force(limit, day(1)).limit == limit


def test_a_backdated_version_holds_only_until_the_next_that_was_known(world):
    limit = make_limit(world.site, by=world.manager, code="soup", value="8", effective_from=day(0))
    later = make_version(limit, by=world.manager, value="5", effective_from=day(10))
    backdated = make_version(limit, by=world.manager, value="6", effective_from=day(4))
    assert [version_in_force(limit, day(n)).value for n in (3, 4, 9)] == [8, backdated.value, 6]
    assert version_in_force(limit, day(10)) == later


def test_of_two_versions_for_one_moment_the_last_recorded_wins(world):
    limit = make_limit(world.site, by=world.manager, code="soup", value="8", effective_from=day(0))
    make_version(limit, by=world.manager, value="5", effective_from=day(2))
    corrected = make_version(limit, by=world.manager, value="4", effective_from=day(2))
    assert version_in_force(limit, day(2)) == corrected


def test_a_retired_limit_is_not_in_force_and_can_come_back(world):
    limit = make_limit(world.site, by=world.manager, code="soup", effective_from=day(0))
    make_version(limit, by=world.manager, effective_from=day(2), in_force=False)
    make_version(limit, by=world.manager, effective_from=day(4))
    assert [version_in_force(limit, day(n)) is None for n in (1, 2, 3, 4)] == [False, True, True, False]


def test_each_site_has_its_own(world):
    make_limit(world.other_site, by=world.supervisor, code="soup")
    assert {v.limit.code for v in versions_in_force(world.other_site, day(0))} == {"soup"}


@pytest.mark.parametrize("count", [2, 6])
def test_all_limits_of_a_site_take_one_query(world, django_assert_num_queries, count):
    for number in range(count):
        make_limit(world.site, by=world.manager, code=f"soup-{number}")
    with django_assert_num_queries(1):
        assert len([str(v) for v in versions_in_force(world.site, day(0))]) == count + 1
    assert LimitVersion.objects.filter(limit__site=world.site).count() == count + 1
