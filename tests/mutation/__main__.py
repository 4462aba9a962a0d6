"""Deliberate faults in the measurement, one at a time: `python -m tests.mutation [module ...]` says how many the tests catch.

mutmut works on a copy of `compliance/metrology` and `tests/metrology` alone, because its faults live in the files that it
runs. The whole takes some minutes; naming modules, such as `bath steam`, is quicker. Needs the extra `mutation`.
"""

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MUTATED = Path("compliance/metrology")
COPIED = (MUTATED, Path("tests/metrology"))
SINGLE = (Path("compliance/__init__.py"), Path("tests/__init__.py"))
SETTINGS = """
[tool.pytest.ini_options]
pythonpath = ["."]
testpaths = ["tests/metrology"]
[tool.mutmut]
source_paths = ["compliance/metrology"]
also_copy = ["compliance/__init__.py", "tests"]
pytest_add_cli_args_test_selection = ["tests/metrology"]
pytest_add_cli_args = ["-p", "no:django", "-p", "no:xdist", "-p", "tests.metrology.steady"]
max_stack_depth = -1
"""
STEADY = '''"""The same examples in every run, however busy the machine, so that a fault is caught or missed for good."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "steady", derandomize=True, deadline=None, max_examples=40, database=None, suppress_health_check=list(HealthCheck)
)
settings.load_profile("steady")
'''
SURVIVED = 0
NEVER_RUN = (33, None)  # no test reaches it, or it was not asked for


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("modules", nargs="*", help="modules of compliance/metrology, without .py; all of them if none")
    parser.add_argument("--keep", metavar="FOLDER", help="work in this folder and leave it, to look at the survivors")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(asked.keep or temporary)
        _copy_to(folder)
        names = [f"compliance.metrology.{module}*" for module in asked.modules]
        with (folder / "mutmut.log").open("w") as log:
            run = subprocess.run([sys.executable, "-m", "mutmut", "run", *names], cwd=folder, stdout=log, stderr=log)
        if run.returncode:
            parser.exit(1, (folder / "mutmut.log").read_text()[-4000:])
        _tell(folder, asked.modules)


def _copy_to(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for path in COPIED:
        shutil.copytree(
            ROOT / path, folder / path, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__", "plots")
        )
    for path in SINGLE:
        shutil.copy(ROOT / path, folder / path)
    (folder / "pyproject.toml").write_text(SETTINGS)
    (folder / "tests/metrology/steady.py").write_text(STEADY)


def _tell(folder: Path, modules: list[str]) -> None:
    caught = total = 0
    for meta in sorted((folder / "mutants" / MUTATED).glob("*.meta")):
        module = meta.name.removesuffix(".py.meta")
        codes = json.loads(meta.read_text())["exit_code_by_key"]
        if (modules and module not in modules) or not codes:
            continue
        counts = Counter(
            "survived" if code == SURVIVED else "never run" if code in NEVER_RUN else "caught"
            for code in codes.values()
        )
        caught, total = caught + counts["caught"], total + len(codes)
        print(
            f"{module:14} {counts['caught']:5} of {len(codes):5} caught, {100 * counts['caught'] / len(codes):5.1f} %"
            f"   survived {counts['survived']}, never run {counts['never run']}"
        )
        for name in sorted(name for name, code in codes.items() if code == SURVIVED or code in NEVER_RUN):
            print(f"    {name}")
    print(f"{caught} of {total} caught, {100 * caught / max(total, 1):.1f} %")


if __name__ == "__main__":
    main()
