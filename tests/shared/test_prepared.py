"""Statements put together once give what Django's querysets give, whatever fills their slots."""

from datetime import timedelta

from django.db.models import BigIntegerField, CharField, DateTimeField, Q

from compliance.limits.models import Limit, LimitVersion
from compliance.limits.queries import effective_at
from shared import prepared
from shared.prepared import Prepared, PreparedSubquery, Slot, keys
from sites.models import Person, Site
from tests.world import LONG_AGO, make_limit, make_version

COUNTS = Prepared(lambda: effective_at(Slot("at", DateTimeField())).filter(limit=Slot("limit")))
NAMED = Prepared(lambda: Person.objects.filter(pk__in=keys(), is_active=True).order_by("pk").values_list("pk", "name"))

PLACED = Prepared(
    lambda: Site.objects.filter(Q(pk__in=keys()) | Q(area__in=keys("areas"))).select_related("area").order_by("pk")
)
NEWEST = PreparedSubquery(
    lambda: (
        LimitVersion.objects.filter(limit=Slot("limit"), limit__title=Slot("title", CharField()), unit="C")
        .order_by("-effective_from")
        .values("pk")[:1]
    ),
    BigIntegerField(),
)


def test_rows_come_whole_for_each_value_that_is_given(world):
    later = make_version(world.limit, by=world.manager, value="4.25", effective_from=LONG_AGO + timedelta(days=1))
    for days in (-1, 0, 1, 2):
        at = LONG_AGO + timedelta(days=days)
        there = list(effective_at(at).filter(limit=world.limit))
        found = COUNTS.objects(at=at, limit=world.limit.pk)
        assert found == there and len(found) == min(days + 1, 2)
        assert [vars(a) | {"_state": 0} for a in found] == [vars(b) | {"_state": 0} for b in there]
    assert COUNTS.objects(at=later.effective_from, limit=0) == []
    assert not any(version._state.adding for version in COUNTS.objects(at=at, limit=world.limit.pk))


def test_keys_are_written_out_and_none_finds_nothing(world):
    people = [world.cook, world.manager]
    assert NAMED.rows(p.pk for p in people) == sorted((p.pk, p.name) for p in people)
    assert NAMED.rows() == NAMED.rows([]) == []
    assert NAMED.rows([world.cook.pk]) == [(world.cook.pk, world.cook.name)]


def test_lists_have_names_and_what_is_selected_with_a_row_comes_with_it(world, django_assert_num_queries):
    with django_assert_num_queries(1):
        found = PLACED.objects([world.foreign_site.pk], areas={world.far_area.pk})
        assert [site.area.name for site in found] == ["South", "Centre"]
    assert found == [world.far_site, world.foreign_site]
    assert PLACED.objects(areas=[]) == []


def test_a_subquery_looks_up_for_each_row_also_where_both_are_of_one_table(world):
    newest = Limit.objects.annotate(version=NEWEST(limit="pk", title="title"))
    later = make_version(world.limit, by=world.manager, value="4.25", effective_from=LONG_AGO + timedelta(days=1))
    other = make_limit(world.other_site, by=world.manager, code="hot")
    found = {each.pk: each.version for each in newest}
    assert found == {world.limit.pk: later.pk, other.pk: other.versions.get().pk}
    inside = Limit.objects.filter(pk__in=newest.filter(version=later.pk).values("pk"))
    assert list(inside) == [world.limit]
    assert not Limit.objects.annotate(version=NEWEST(limit="pk", title="code")).filter(version__isnull=False)


def test_what_is_streamed_comes_whole_piece_by_piece_as_objects_or_as_rows(world, monkeypatch):
    monkeypatch.setattr(prepared, "CHUNK", 2)
    more = [make_limit(world.site, by=world.manager, code=f"hot-{number}") for number in range(4)]
    asked = Limit.objects.filter(site=Slot("site")).select_related("site").order_by("-pk")
    told = Prepared(lambda: asked.annotate(version=NEWEST(limit="pk", title="title")))
    there = [*reversed(more), world.limit]
    found = list(told.streamed({"site": world.site.pk}))
    assert found == there and [each.version for each in found] == [each.versions.get().pk for each in there]
    assert [each.site.name for each in found] == [world.site.name] * 5
    rows = Prepared(lambda: asked.values_list("pk", "code")).streamed({"site": world.site.pk})
    assert list(rows) == [(each.pk, each.code) for each in there]
    assert list(told.streamed({"site": world.foreign_site.pk})) == []
