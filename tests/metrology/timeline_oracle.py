"""The standing of one instant, told the slow way: read the diary of a probe from its first page and think.

It knows nothing of spans and never gathers what happened at one time. It exists to disagree with `bracketing.cut`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

CHAPTERS = {"as_found": 0, "alteration": 1, "as_left": 2}


@dataclass(frozen=True)
class Entry:
    """One line of the diary. `stage` is as_found, as_left or alteration; an alteration has no verdict."""

    at: datetime
    stage: str
    verdict: str
    key: str
    order: int
    void: bool = False

    @property
    def counts(self) -> bool:
        return not self.void and self.verdict != "inconclusive"

    @property
    def failed(self) -> bool:
        return self.verdict == "out_of_tolerance"

    @property
    def good(self) -> bool:
        return self.verdict == "in_tolerance"

    @property
    def altered(self) -> bool:
        return self.stage == "alteration"


class Diary:
    def __init__(self, entries: Sequence[Entry]):
        self.entries = [entry for entry in entries if entry.counts]

    def speaks_after(self, now: datetime) -> Entry | None:
        """The last word before `now`: the latest, then the later chapter, then a failure, then the latest recorded."""
        word = None
        for entry in self.entries:
            if entry.at < now and (word is None or self._rank(entry) > self._rank(word)):
                word = entry
        return word

    @staticmethod
    def _rank(entry: Entry) -> tuple:
        return entry.at, CHAPTERS[entry.stage], entry.failed, entry.order

    def speaks_before(self, now: datetime) -> Entry | None:
        """The first word from `now` on, `now` included: earliest, earlier chapter, a failure, latest recorded."""
        word = None
        for entry in self.entries:
            if entry.at < now:
                continue
            rank = entry.at, CHAPTERS[entry.stage], not entry.failed, -entry.order
            if word is None or rank < (word.at, CHAPTERS[word.stage], not word.failed, -word.order):
                word = entry
        return word

    def cause(self, now: datetime) -> str | None:
        past, future = self.speaks_after(now), self.speaks_before(now)
        if past and past.altered:
            return "used_after_alteration"
        if past and past.failed:
            return "used_after_failure"
        if future and future.stage == "as_found" and future.failed:
            return "failed_ahead"
        if future and future.stage != "as_found":
            return "altered_unchecked"
        return None

    def standing(self, now: datetime) -> str:
        if self.cause(now):
            return "quarantined"
        if self.speaks_after(now) is None:
            return "unproven"
        return "pending" if self.speaks_before(now) is None else "proven"

    def behind(self, now: datetime) -> str | None:
        past = self.speaks_after(now)
        return past.key if past and not past.altered else None

    def ahead(self, now: datetime) -> str | None:
        future = self.speaks_before(now)
        return future.key if future and future.stage == "as_found" else None

    def anchor(self, now: datetime) -> str | None:
        """Go back as long as what lies behind condemns and the moment it was written is in quarantine too."""
        while self.cause(now) in ("used_after_failure", "used_after_alteration"):
            past = self.speaks_after(now)
            assert past is not None
            if self.cause(past.at) is None:
                return past.key
            now = past.at
        future = self.speaks_before(now)
        return future.key if self.cause(now) and future else None
