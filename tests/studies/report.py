"""Where studies put what they found: marked blocks of the package's README, and plots beside it."""

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HOME = Path(__file__).resolve().parents[2] / "compliance" / "metrology"
STYLE = {
    "svg.hashsalt": "noughtbook",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.alpha": 0.3,
}


def publish(name: str, markdown: str, readme: Path = HOME / "README.md") -> None:
    """Put this text between `<!-- name -->` and `<!-- /name -->`.

    Raises:
        ValueError: if the file has no such block, or more than one.
    """
    opening, closing = f"<!-- {name} -->", f"<!-- /{name} -->"
    block = re.compile(f"{re.escape(opening)}.*?{re.escape(closing)}", re.DOTALL)
    text, found = block.subn(lambda _: f"{opening}\n{markdown.strip()}\n{closing}", readme.read_text("utf-8"))
    if found != 1:
        raise ValueError(f"{readme.name} needs one block {opening}…{closing}; it has {found}.")
    readme.write_text(text, "utf-8")


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A Markdown table."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(str(cell) for cell in line) + " |" for line in lines)


@contextmanager
def plot(name: str, *, width: float = 7.0, height: float = 3.6, home: Path = HOME / "plots") -> Iterator["Figure"]:
    """A figure (inches) that becomes `plots/<name>.svg`, the same bytes for the same drawing."""
    from matplotlib import pyplot, rc_context, use  # heavy, and wanted for a plot alone

    use("svg")
    with rc_context(STYLE):
        figure = pyplot.figure(figsize=(width, height), layout="constrained")
        try:
            yield figure
            home.mkdir(exist_ok=True)
            figure.savefig(home / f"{name}.svg", metadata={"Date": None, "Creator": None})
        finally:
            pyplot.close(figure)
