"""The benchmark of all pages goes on knowing what their addresses name."""

import inspect

from tests.benchmarks import measure_pages
from tests.everything import ADDRESSES, noun


def test_the_walk_over_the_big_set_has_a_record_for_every_address():
    nouns = {noun(name, argument) for name, wanted in ADDRESSES for argument in wanted}
    source = inspect.getsource(measure_pages.records_of)
    assert {each for each in nouns if f'"{each}":' not in source} == set()
