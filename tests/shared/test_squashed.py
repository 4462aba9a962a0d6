"""The migrations that make the tables of a fresh database leave what those do that they stand for.

Of the tables themselves: `python -m tests.benchmarks.bench_migrate`.
"""

from collections import Counter

from django.db.migrations.loader import MigrationLoader

from shared.versions import without_squashes

OF_OTHERS = {"auth", "contenttypes", "sessions"}


def told(loader: MigrationLoader, names: list[tuple[str, str]]) -> dict:
    """Each model as it is after these migrations; of its options what is set."""
    models = loader.project_state(names).models
    return {
        name: (
            {field: each.deconstruct()[1:] for field, each in state.fields.items()},
            {key: option for key, option in state.options.items() if option},
            state.bases,
            [manager for manager, _ in state.managers],
        )
        for name, state in models.items()
    }


def test_models_are_those_that_the_old_ones_leave():
    loader = MigrationLoader(None)
    squashes = {name: each for name, each in loader.disk_migrations.items() if each.replaces}
    old = [name for each in squashes.values() for name in each.replaces]
    ours, theirs = told(loader, list(squashes)), told(without_squashes(), old)
    assert ours.keys() == theirs.keys() and all(ours[name] == theirs[name] for name in ours)


def test_each_of_before_is_replaced_once():
    disk = MigrationLoader(None).disk_migrations
    replaced = Counter(name for each in disk.values() for name in each.replaces)
    before = {name for name in disk if name[0] not in OF_OTHERS and name[1] < "0100"}
    assert replaced == Counter(before)
