"""An ice bath is no food, and whatever fell into it may be none: nobody is told to taste it, in any text that people read."""

import re
from pathlib import Path

import pytest

from compliance.checks.kinds import GUIDANCE
from compliance.metrology.contamination import LARGEST, explain_low
from shared.cautions import CAUTIONS

ROOT = Path(__file__).resolve().parents[2]
TEXTS = [
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md")),
    *(
        path
        for folder in ("templates", "fixtures", "compliance", "shared", "sites")
        for path in sorted((ROOT / folder).rglob("*"))
        if path.suffix in (".html", ".txt", ".json", ".py", ".md", ".js") and "__pycache__" not in path.parts
    ),
]
WORDS = re.compile(r"\b(?:tast(?:e[sd]?|ing)|lick(?:s|ed|ing)?|sip(?:s|ped|ping)?)\b", re.IGNORECASE)
# Of food, which people do taste, and only with a clean spoon: lines that may say so.
OF_FOOD = re.compile(r"\b(?:food|soup|sauce|dish)\b", re.IGNORECASE)


def told_to_taste(text: str) -> list[str]:
    """The lines that speak of tasting, and not of food alone."""
    lines = [line.strip() for line in text.splitlines() if WORDS.search(line)]
    return [
        line for line in lines if not OF_FOOD.search(line) or re.search(r"\b(?:ice|bath|water)\b", line, re.IGNORECASE)
    ]


@pytest.mark.parametrize(
    "line", ["Taste the water with a clean spoon.", "You would taste that.", "Sip from the ice bath."]
)
def test_such_a_line_is_found(line):
    assert told_to_taste(line) == [line]


def test_what_is_said_of_food_is_none_of_it():
    assert told_to_taste("Use a clean spoon each time you taste the soup.") == []


def test_no_page_print_guidance_fixture_or_readme_tells_anybody_to_taste():
    assert len(TEXTS) > 200
    assert not {str(path.relative_to(ROOT)): found for path in TEXTS if (found := told_to_taste(path.read_text()))}


def test_no_sentence_that_is_put_together_tells_anybody_to_taste():
    depressions = [LARGEST * n / 200 for n in range(1, 201)]
    said = [sentence for depression in depressions for sentence in explain_low(depression).sentences]
    said += [f"{caution.title} {caution.text}" for caution in CAUTIONS.values()]
    said += [
        task.how
        for guidance in GUIDANCE.values()
        for tasks in (*guidance.before.values(), *guidance.inside.values())
        for task in tasks
    ]
    assert told_to_taste("\n".join(said)) == []


def test_a_bath_in_doubt_is_made_anew_with_clean_ice_and_drinking_water():
    said = " ".join(explain_low(1.0).sentences)
    assert "Make the bath anew" in said and "ice from a clean source and drinking water, no salt" in said
