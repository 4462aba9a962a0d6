"""Columns are told apart as Django tells them apart."""

from itertools import product

from django.db.models import IntegerField
from django.db.models.expressions import Col, Expression

from compliance.probes.models import Probe
from sites.models import Site


def columns() -> list[Col]:
    """Two of each, so that some are equal."""
    names = [Site._meta.get_field("name"), Site._meta.get_field("area"), Probe._meta.get_field("code")]
    shown = [None, IntegerField(), Probe._meta.get_field("site")]
    return [Col(*each) for each in product(("a", "b", None), names, shown) for _ in range(2)]


def test_columns_are_equal_exactly_where_django_has_them_equal():
    assert Col.identity is not Expression.identity
    made = columns()
    own = [Expression.identity.func(each) for each in made]
    equal = [[one == other for other in made] for one in made]
    assert equal == [[one == other for other in own] for one in own]
    assert len(set(made)) == len(set(own)) == len(made) // 2
