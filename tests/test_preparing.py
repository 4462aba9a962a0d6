"""The one line for the tests: what `.ci/run` runs is read out of README, and what a machine lacks is installed or asked for."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
README = """# Something
```sh
echo another
```
## Run the tests
{}
## Settings
```sh
echo a third
```
"""
ONE, OTHER = "```sh\necho first && read -r; echo \"and '$REPLY'\"\n```\n", "```\necho second\n```\n"
ALL = ["python3", "chromium", "libatomic"]
ASK = "as root, run apt-get install -y {} and then the same line again."


def ci_run(folder: Path, readme: str):
    """`.ci/run` as it stands, beside a README of the test's own."""
    (folder / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", folder / ".ci" / "run")
    (folder / "README.md").write_text(readme)
    return subprocess.run([folder / ".ci" / "run"], input="typed", capture_output=True, text=True, cwd="/")


def test_the_continuous_run_runs_the_line_of_the_readme_and_nothing_else(tmp_path):
    done = ci_run(tmp_path, README.format(ONE))
    assert (done.returncode, done.stdout, done.stderr) == (0, "first\nand ''\n", "")


def test_the_continuous_run_ends_as_the_line_of_the_readme_does(tmp_path):
    assert ci_run(tmp_path, README.format("```sh\necho begun && exit 3\n```\n")).returncode == 3


@pytest.mark.parametrize("text", ["", "echo in no block", "```sh\n```\n", ONE + OTHER, "```sh\necho a\necho b\n```\n"])
def test_the_continuous_run_says_so_where_the_readme_gives_no_line_or_several(tmp_path, text):
    done = ci_run(tmp_path, README.format(text))
    assert (done.returncode, done.stdout) == (1, "")
    assert "exactly one line in a block under “Run the tests”" in done.stderr


def test_the_readme_has_the_line_where_the_continuous_run_looks(tmp_path):
    """With programs that only say their names in place of those that it names."""
    for name in ("tests/prepare", ".venv/bin/pip", ".venv/bin/pytest", "bin/python3"):
        program(tmp_path / name, f"echo {name} $*")
    (tmp_path / ".ci").mkdir()
    for name in (".ci/run", "README.md"):
        shutil.copy(ROOT / name, tmp_path / name)
    done = subprocess.run(
        [tmp_path / ".ci/run"], env={"PATH": f"{tmp_path}/bin:/usr/bin:/bin"}, capture_output=True, text=True
    )
    assert done.stdout.splitlines()[0] == "tests/prepare"
    assert done.stdout.splitlines()[-1] == ".venv/bin/pytest"


def program(path: Path, script: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(0o755)


def prepare(folder: Path, there: list[str], user: int, apt: str = "true"):
    """`tests/prepare` on a machine with these programs, where `apt-get` writes down what it is asked for."""
    for name in there:
        program(
            folder / name, "case $* in *libatomic*) [ -e ${0%/*}/libatomic ];; esac" if name == "python3" else "true"
        )
    program(folder / "id", f"echo {user}")
    program(folder / "apt-get", f'echo "$DEBIAN_FRONTEND: $*" >>{folder}/asked; {apt}')
    return subprocess.run(
        ["/bin/sh", ROOT / "tests/prepare"], env={"PATH": str(folder)}, capture_output=True, text=True
    )


def asked(folder: Path) -> str:
    return (folder / "asked").read_text() if (folder / "asked").exists() else ""


@pytest.mark.parametrize("user", [0, 1000])
@pytest.mark.parametrize("browser", ["chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"])
def test_a_machine_that_lacks_nothing_is_left_alone(tmp_path, user, browser):
    done = prepare(tmp_path, ["python3", browser, "libatomic"], user)
    assert (done.returncode, done.stdout, done.stderr, asked(tmp_path)) == (0, "", "", "")


@pytest.mark.parametrize(
    "lacking, packages",
    [
        (["chromium"], "chromium-headless-shell fonts-dejavu-core"),
        (["libatomic"], "libatomic1"),
        (ALL, "python3-venv chromium-headless-shell fonts-dejavu-core libatomic1"),
    ],
)
def test_root_gets_what_is_lacking_and_others_are_told_in_one_sentence(tmp_path, lacking, packages):
    there = [name for name in ALL if name not in lacking]
    told = prepare(tmp_path, there, user=1000)
    assert (told.returncode, told.stdout, asked(tmp_path)) == (1, "", "")
    assert told.stderr.endswith(ASK.format(packages) + "\n") and told.stderr.count("\n") == 1
    assert prepare(tmp_path, there, user=0).returncode == 0
    update, install = asked(tmp_path).splitlines()
    assert update == "noninteractive: update -qq"
    assert install == f"noninteractive: install -y -qq --no-install-recommends {packages}"


def test_what_the_tests_look_for_on_a_machine_is_prepared():
    looked_for = re.compile(r"""which\(["']([\w-]+)["']""")
    names = {name for path in (ROOT / "tests").rglob("*.py") for name in looked_for.findall(path.read_text())}
    asked_for = set(re.findall(r"command -v ([\w-]+)", (ROOT / "tests/prepare").read_text()))
    assert names == asked_for


def test_what_cannot_be_installed_ends_the_line(tmp_path):
    assert prepare(tmp_path, [], user=0, apt="exit 100").returncode == 100
