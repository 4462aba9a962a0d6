"""Run studies in full and publish what they found: `python -m tests.studies [name…]`, all of them without a name."""

import sys
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from time import monotonic


def studies() -> dict[str, str]:
    """Every module beside this one that has a `main`, by its name."""
    names = sorted(module.name for module in iter_modules([str(Path(__file__).parent)]))
    found = {name: f"{__package__}.{name}" for name in names if not name.startswith(("_", "test_"))}
    return {name: path for name, path in found.items() if hasattr(import_module(path), "main")}


def run(names: list[str]) -> None:
    known = studies()
    unknown = [name for name in names if name not in known]
    if unknown:
        sys.exit(f"No study is called {', '.join(unknown)}. There are: {', '.join(known)}.")
    for name in names or known:
        begun = monotonic()
        import_module(known[name]).main()
        print(f"{name}: done in {monotonic() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    run(sys.argv[1:])
