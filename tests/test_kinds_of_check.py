"""What is particular to a kind of check stands in its own module; elsewhere a kind is hardly ever named."""

import ast
import re
from pathlib import Path

from compliance.checks.kinds import AWAY_FROM_ZERO, GUIDANCE, KINDS, USUAL, check_wanted, of_the_same_points
from compliance.checks.models import CheckKind
from compliance.metrology import vocabulary
from compliance.metrology.marks import speaks_for

ROOT = Path(__file__).resolve().parent.parent
OWN = ROOT / "compliance/checks/kinds"
MOST = 8
MEMBER = re.compile(r"(.+\.)?\w*Kind\w*\.(ZERO|BOILING|CERTIFICATE)")
WORD = re.compile("|".join(kind.value for kind in CheckKind), re.IGNORECASE)
MODULE = re.compile(r"kinds\.(zero|boiling|certificate)")


def names_a_kind(source: str) -> bool:
    """Whether it names one as a member, as a word of its own, or by its module."""
    if not WORD.search(source):
        return False
    nodes = list(ast.walk(ast.parse(source)))
    words = {node.value for node in nodes if isinstance(node, ast.Constant)}
    members = {ast.unparse(node) for node in nodes if isinstance(node, ast.Attribute) and WORD.fullmatch(node.attr)}
    modules = {node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)}
    return bool(
        words & {kind.value for kind in CheckKind}
        or any(MEMBER.fullmatch(member) for member in members)
        or any(MODULE.search(module) for module in modules)
    )


def naming() -> list[str]:
    files = (file for folder in ("compliance", "sites", "shared") for file in sorted((ROOT / folder).rglob("*.py")))
    # The demo makes checks of every kind, as the tests do.
    apart = (OWN, ROOT / "compliance/overview/demo")
    ours = [f for f in files if "migrations" not in f.parts and not any(f.is_relative_to(each) for each in apart)]
    return [str(file.relative_to(ROOT)) for file in ours if names_a_kind(file.read_text())]


def test_a_kind_is_named_in_few_files_besides_its_own():
    found = naming()
    assert 0 < len(found) <= MOST, found


def test_naming_one_is_seen_however_it_is_done():
    assert names_a_kind("a = Kind.ZERO") and names_a_kind("a = CheckKind.BOILING") and names_a_kind("a = 'certificate'")
    assert names_a_kind("from compliance.checks.kinds.zero import ICE") and names_a_kind(
        "a = vocabulary.CheckKind.ZERO"
    )
    assert not names_a_kind("a = Kind.FAILED") and not names_a_kind('"""At zero, or at boiling."""')


def test_every_kind_has_its_module_and_all_that_is_asked_of_it():
    assert list(KINDS) == [kind.value for kind in CheckKind] and {f.stem for f in OWN.glob("*.py")} >= set(KINDS)
    for value, kind in KINDS.items():
        assert kind.value == value and kind.data.kind == value and kind.correction
        assert kind.guided == (kind.form is None), "made step by step, or entered by a form"
        assert kind.sources and kind.afterwards and kind.on_paper.passed and kind.on_paper.title


def test_a_kind_speaks_for_the_ends_that_the_measurement_says():
    for value, kind in KINDS.items():
        assert kind.points == {speaks_for(vocabulary.CheckKind(value), reference) for reference in (0.0, 100.0)}


def test_what_is_asked_for_has_a_kind_that_answers_it():
    assert check_wanted(False) is USUAL.guidance and CheckKind.ZERO in USUAL.points
    away = check_wanted(True)
    assert [GUIDANCE[value] for value in AWAY_FROM_ZERO] == [away]


def test_a_later_check_is_compared_with_those_of_the_same_end():
    assert {value: of_the_same_points(kind) for value, kind in KINDS.items()} == {
        "zero": ["zero", "certificate"],
        "boiling": ["boiling", "certificate"],
        "certificate": ["zero", "boiling", "certificate"],
    }
