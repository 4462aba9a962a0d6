"""Rule sets from files. What is in the book is never changed: only what is missing comes in."""

import json
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError

from shared.audit.trail import action, note
from shared.units import to_milli

from .models import Rule, RuleSet

SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "rules"
FIGURES = ("direction", "value", "unit", "hold_s", "within_s", "source", "origin")
WORDS = ("step", "title", "hazard", "usual_action", "note")
ABOUT = ("title", "jurisdiction", "edition", "source")


class RuleFileError(ValueError):
    """A file of rules that cannot be taken in; the message says which line of it to put right."""


@dataclass(slots=True)
class Loaded:
    """What a file brought: how many rules are new and known, and whose words differ from those in the book."""

    rule_set: RuleSet
    added: int = 0
    known: int = 0
    reworded: list[str] = field(default_factory=list)


def read_file(path: Path) -> dict:
    """Raises RuleFileError for a file that is not one of rules."""
    try:
        # A figure too large for a float is no infinity, and “NaN” and “Infinity”, which are not JSON, are refused.
        content = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal, parse_constant=int)
    except (OSError, ValueError) as error:
        raise RuleFileError(f"{path.name} cannot be read as a file of rules: {error}") from error
    if not isinstance(content, dict) or not isinstance(content.get("rules"), list):
        raise RuleFileError(
            f"{path.name} is not a file of rules: it needs a code, a title, an edition and a list “rules”."
        )
    if missing := [n for n in ("code", *ABOUT) if not content.get(n)]:
        raise RuleFileError(f"{path.name} does not say its {', '.join(missing)}.")
    return content


@action("rules.load")
def load_rule_set(*, by, content: dict) -> Loaded:
    """Take in what is missing of a rule set.

    Raises RuleFileError, and takes in nothing, where a figure differs from the same rule of the same edition in the book.
    """
    rule_set = _rule_set(content)
    known = {rule.code: rule for rule in rule_set.rules.all()}
    loaded = Loaded(rule_set)
    for position, given in enumerate(content["rules"]):
        rule = _rule(rule_set, given, position)
        if rule.code not in known:
            rule.save()
            loaded.added += 1
            continue
        _refuse_other_figures(known[rule.code], rule)
        loaded.known += 1
        if any(getattr(known[rule.code], name) != getattr(rule, name) for name in WORDS):
            loaded.reworded.append(rule.code)
    note("rules.load", by=by, subject=rule_set, edition=rule_set.edition, added=loaded.added, known=loaded.known)
    return loaded


def _rule_set(content: dict) -> RuleSet:
    about = {name: content[name] for name in ABOUT}
    rule_set = RuleSet.objects.filter(code=content["code"]).first()
    if rule_set is None:
        rule_set = RuleSet(code=content["code"], **about)
        _clean(rule_set, content["code"])
        rule_set.save()
    elif rule_set.edition != about["edition"]:
        raise RuleFileError(
            f"The book holds {rule_set} as “{rule_set.code}”. Another edition needs a code of its own in its file, "
            "so that sites can choose when to follow it."
        )
    return rule_set


def _rule(rule_set: RuleSet, given: dict, position: int) -> Rule:
    name = f"Rule {position + 1} ({given.get('code', 'no code')}) of {rule_set.code}"
    try:
        value = Decimal(str(given["value"]))
        rule = Rule(rule_set=rule_set, position=position, **{**given, "value": value})
        rule.value_milli = to_milli(value, rule.unit)
    except (KeyError, TypeError, ValueError, ArithmeticError) as error:
        raise RuleFileError(f"{name} is not complete or not understood: {error}") from error
    _clean(rule, name, exclude=["rule_set"])
    return rule


def _clean(record, name: str, exclude=()) -> None:
    try:
        record.clean_fields(exclude=exclude)
    except ValidationError as error:
        wrong = "; ".join(f"{field}: {' '.join(messages)}" for field, messages in error.message_dict.items())
        raise RuleFileError(f"{name}: {wrong}") from error


def _refuse_other_figures(known: Rule, given: Rule) -> None:
    differing = [n for n in FIGURES if getattr(known, n) != getattr(given, n)]
    if differing:
        told = "; ".join(f"{n} {getattr(known, n)} in the book, {getattr(given, n)} in the file" for n in differing)
        raise RuleFileError(
            f"{given.code} of {known.rule_set}: {told}. Rules in the book are never changed, because limits and records "
            "refer to them. Give the other figure a new rule code, or its rule set a new code and edition."
        )
