"""The first words about a reading: what it is worth, before the figure is held against its limit. No database in it."""

from collections.abc import Sequence
from dataclasses import dataclass

from compliance.checks.fitness import Fitness
from compliance.checks.models import Standing

SEVERITY = [Fitness.OK, Fitness.CHECK_FIRST, Fitness.DO_NOT_USE]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingWorth:
    """A reading as its page shows it. `standing_why` says what it is worth now in sentences.

    `fitness` is what its probe was when it was taken, from all that is known now, and `why` the reason; `entered` is what it
    was as known when the reading was entered, empty where nobody noted it. `others` are the codes of probes at the site that
    are OK to use now; None where it was entered so long ago that nobody can measure the same food again.
    """

    probe: str
    standing: str
    standing_why: str
    fitness: str
    why: str = ""
    entered: str = ""
    others: Sequence[str] | None = None

    @property
    def stands(self) -> bool:
        """Whether nothing about the probe keeps the reading from counting."""
        return self.standing == Standing.PROVEN or (self.standing == Standing.PENDING and self.worst == Fitness.OK)

    @property
    def worst(self) -> str:
        """A reason that is gone since does not make a use that was forbidden then any better."""
        return max(self.fitness, self.entered or Fitness.OK, key=SEVERITY.index)


def first_words(seen: ReadingWorth, limit: dict) -> dict:
    """A callout from what the limit alone says (`verdict_of`): green only for a probe that was OK, and is not in doubt since."""
    if seen.standing == Standing.QUARANTINED:
        return _red(seen, limit, _reason(seen) if seen.fitness == Fitness.DO_NOT_USE else seen.standing_why)
    if seen.stands:
        return limit if seen.worst == Fitness.OK else _checked_since(seen, limit)
    if seen.worst == Fitness.DO_NOT_USE:
        return _red(seen, limit, _reason(seen))
    return _amber(seen, limit)


def instead(others: Sequence[str]) -> str:
    """What to do where a probe is not to be relied on."""
    if not others:
        return "No other probe here is OK to use. Hold the food until one has passed a check."
    return f"Measure with {either(others)} instead, which {'is' if len(others) == 1 else 'are'} OK to use."


def either(names: Sequence[str]) -> str:
    """Names as a choice: “A, B or C”."""
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last


def probe_heading(state: str, probe: str) -> str:
    return f"Do not use {probe}" if state == Fitness.DO_NOT_USE else f"Check {probe} first"


def _red(seen: ReadingWorth, limit: dict, reason: str) -> dict:
    if limit["tone"] == "bad":
        heading, text, lines = f"{limit['heading']}, and {seen.probe} is not to be relied on", limit["text"], [reason]
    else:
        heading, text, lines = "Do not rely on this reading", reason, [_shown(limit)]
    return {"tone": "bad", "heading": heading, "text": text, "lines": [*lines, *_again(seen)]}


def _amber(seen: ReadingWorth, limit: dict) -> dict:
    if limit["tone"] == "bad":
        return {**limit, "lines": [_reason(seen), *_again(seen)]}
    if seen.standing == Standing.UNPROVEN:
        reason = f"{seen.standing_why} A later check says nothing about this reading."
    else:
        reason = f"{_reason(seen)} This reading counts once {seen.probe} has passed a check."
    heading = probe_heading(Fitness.CHECK_FIRST, seen.probe)
    return {
        "tone": "caution",
        "heading": heading,
        "text": reason,
        "lines": [_shown(limit), *_again(seen)],
    }


def _checked_since(seen: ReadingWorth, limit: dict) -> dict:
    """Nothing to alarm anybody: a good check followed. Nor is it green: the probe was used when it was not to be."""
    said = f"{_reason(seen)} Its next check was good all the same, so the reading stands."
    if limit["tone"] != "good":
        return {**limit, "lines": [said]}
    return {"tone": "info", "heading": f"Used before {seen.probe} was checked", "text": limit["text"], "lines": [said]}


def _shown(limit: dict) -> str:
    return f"By its display: {limit['text'][0].lower()}{limit['text'][1:]}"


def _reason(seen: ReadingWorth) -> str:
    if seen.fitness != Fitness.OK:
        asked = "not to be used" if seen.fitness == Fitness.DO_NOT_USE else "to be checked first"
        return f"{seen.probe} was {asked}: {seen.why}."
    if seen.worst != Fitness.OK:
        return f"{seen.probe} was “{Fitness(seen.worst).label}” when this was entered."
    return seen.standing_why


def _again(seen: ReadingWorth) -> list[str]:
    if seen.others is None:
        return []
    if not seen.others:
        return [instead(seen.others)]
    return [f"Measure again with {either(seen.others)}, and hold the food until then."]
