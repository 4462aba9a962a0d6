"""The source as Python reads it, once for all tests that look through it."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


def statements(node: ast.AST) -> Iterator[ast.AST]:
    """All below it, at any depth: functions, classes and imports among them. Most of a tree are expressions, which have none."""
    for name in ("body", "orelse", "finalbody", "handlers", "cases"):
        below = getattr(node, name, ())
        for each in below if isinstance(below, list) else ():
            yield each
            yield from statements(each)
