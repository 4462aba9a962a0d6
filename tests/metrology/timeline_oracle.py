"""The standing of one instant, told the slow way: read the diary of a probe from its first page and think.

It knows nothing of spans and never gathers what happened at one time. It exists to disagree with `bracketing.cut`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

CHAPTERS = {"as_found": 0, "alteration": 1, "as_left": 2}


@dataclass(frozen=True)
class Entry:
    """One line of the diary. `stage` is as_found, as_left or alteration; an alteration has no verdict.

    `kind` is zero, boiling or certificate, `reference` what it was held against, °C.
    """

    at: datetime
    stage: str
    verdict: str
    key: str
    order: int
    void: bool = False
    kind: str = "zero"
    reference: float = 0.0

    @property
    def far(self) -> bool:
        """Whether it speaks for temperatures away from zero."""
        return not self.altered and (self.kind == "boiling" or (self.kind == "certificate" and abs(self.reference) > 5))

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


class WholeDiary:
    """Two diaries read side by side: what was seen at zero and done to the probe, and what was seen away from zero."""

    def __init__(self, entries: Sequence[Entry]):
        self.entries = [entry for entry in entries if entry.counts]
        silent = [self._adjusted(entry) for entry in self.entries if entry.far and self._tells_of_adjusting(entry)]
        self.near = Diary([entry for entry in self.entries if not entry.far] + silent)
        self.far = Diary([entry for entry in self.entries if entry.far])

    @staticmethod
    def _adjusted(entry: Entry) -> Entry:
        return Entry(at=entry.at, stage="alteration", verdict="", key=entry.key, order=entry.order)

    def _tells_of_adjusting(self, entry: Entry) -> bool:
        """Made as left, and nothing of the day before says what was done."""
        if entry.stage != "as_left":
            return False
        place = entry.at, 2, 0
        ranks = [(e.at, CHAPTERS[e.stage], -1 if not e.far else 0) for e in self.entries]
        last = max((rank for rank in ranks if rank < place), default=None)
        return last is None or last[1] == 0 or entry.at - last[0] > timedelta(hours=24)

    def doubt(self, now: datetime) -> Entry | None:
        """The failed word away from zero nearest behind, or else the one that comes next."""
        for word in (self.far.speaks_after(now), self.far.speaks_before(now)):
            if word and word.failed:
                return word
        return None

    def _unbounded(self, now: datetime) -> bool:
        past, future, doubt = self.far.speaks_after(now), self.far.speaks_before(now), self.doubt(now)
        if not doubt:
            return False
        if past and past.failed and future and future.failed:
            return True
        altered = [entry.at for entry in self.entries if entry.stage != "as_found"]
        late = doubt.stage == "as_left"
        if doubt is past:
            return any(doubt.at < at < now or (at == doubt.at and not late) for at in altered)
        return any(now <= at < doubt.at or (at == doubt.at and late) for at in altered)

    def cause(self, now: datetime) -> str | None:
        doubt, cause = self.doubt(now), self.near.cause(now)
        if cause or not doubt:
            return cause
        return "used_after_far_failure" if doubt is self.far.speaks_after(now) else "far_failed_ahead"

    def standing(self, now: datetime) -> str:
        return "quarantined" if self.doubt(now) else self.near.standing(now)

    def behind(self, now: datetime) -> str | None:
        return None if self._unbounded(now) else self.near.behind(now)

    def ahead(self, now: datetime) -> str | None:
        return self.near.ahead(now)

    def anchor(self, now: datetime) -> str | None:
        """The first of the unbroken row of failures away from zero, unless what was seen at zero condemns by itself."""
        doubt = self.doubt(now)
        if self.near.cause(now) or not doubt:
            return self.near.anchor(now)
        ranked = sorted(self.far.entries, key=self.far._rank)
        words = [e for e, after in zip(ranked, [*ranked[1:], None], strict=True) if not after or self._later(e, after)]
        index = words.index(doubt)
        while index > 0 and words[index - 1].failed:
            index -= 1
        return words[index].key

    @staticmethod
    def _later(entry: Entry, after: Entry) -> bool:
        return (entry.at, entry.stage) != (after.at, after.stage)
