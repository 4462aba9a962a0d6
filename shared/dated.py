"""Settings of the past: a row says what is set now, and a fact for each change says what was set from then on.

A correction is a fact, too. It holds from the first moment of the values that it puts right, and not from its recording.
"""

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models

from .append_only import Fact, WrittenOnce
from .reasons import as_reason
from .stale_forms import entered, refuse_newer

SINCE_EVER = None
WHY_CORRECTED = "Say what was wrong, and how you know. The change is listed with it in every record that it reaches."


class SettingsFact(Fact):
    """All that was set from `recorded_at` on, or, of a correction, what ought to have been set instead of the values before."""

    corrects = models.BooleanField(default=False)
    reason = models.TextField(blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        editable=False,
        db_index=False,
        help_text="Empty where whoever runs the machine wrote it.",
    )

    class Meta:
        abstract = True


class DatedModel(models.Model):
    """A row whose columns `dated` say what its newest fact says. Its facts are `settings_facts`, by the order of their keys."""

    dated: tuple[str, ...] = ()
    of_now: tuple[str, ...] = ()  # what a copy says as it is now

    former = models.JSONField(
        default=list,
        editable=False,
        help_text="What was set before and until when, the first first; made from the facts.",
    )

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if self.present is not self:
            raise WrittenOnce(f"{self} as it once was is shown, and not saved.")
        super().save(*args, **kwargs)

    def record_settings(self, *, by: models.Model | None, reason: str = "", corrects: bool = False) -> None:
        """Write a fact of what the row says. Call it in the transaction that changes the row, which is to be locked."""
        facts = self.settings_facts
        facts.create(recorded_by=by, reason=reason, corrects=corrects, **{n: getattr(self, n) for n in self.dated})
        self.former = former_of(facts.order_by("pk"), self.dated)
        self.save(update_fields=["former"])

    def is_recorded(self) -> bool:
        """Whether the newest fact says what the row says."""
        newest = self.settings_facts.order_by("-pk").first()
        return newest is not None and all(getattr(newest, name) == getattr(self, name) for name in self.dated)

    @property
    def present(self) -> "DatedModel":
        """The row itself, also of a copy that says what was set once."""
        return self.__dict__.get("_present", self)

    def as_of(self, moment: datetime) -> Any:
        """A copy, not to be saved, with what was set at a moment; the row itself where that is set still. No query."""
        told = told_at(self.former, moment)
        return (
            self._copy({name: told[name] for name in self.dated if name not in self.of_now}) if told else self.present
        )

    def as_known_at(self, moment: datetime) -> Any:
        """A copy with what was recorded by a moment, whatever was corrected later. A query."""
        known = known_at(list(self.settings_facts.order_by("pk")), moment)
        return self._copy({name: getattr(known, name) for name in self.dated}) if known else self.present

    def _copy(self, values: dict) -> "DatedModel":
        then = copy(self.present)
        then._present = self.present
        for name, value in values.items():
            setattr(then, name, value)
        return then


@dataclass(frozen=True, slots=True)
class SettingPeriod:
    """What was set from a moment on, until that of the next period."""

    since: datetime | None
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class SettingChange:
    """One value that a fact changed. It holds from `since` on: its recording or, of a correction, the start of the old value."""

    name: str
    old: Any
    new: Any
    since: datetime | None
    fact: SettingsFact


def periods(facts: Iterable[SettingsFact], names: Sequence[str]) -> list[SettingPeriod]:
    """What was set when, by all that is known now; of facts in the order of their recording."""
    courses: dict[str, list[tuple]] = {name: [] for name in names}
    for _ in _changes(facts, courses):
        pass
    moments = {since for course in courses.values() for since, _ in course if since}
    return [SettingPeriod(at, {n: _value_at(courses[n], at) for n in names}) for at in (SINCE_EVER, *sorted(moments))]


def changes(facts: Iterable[SettingsFact], names: Sequence[str]) -> list[SettingChange]:
    """Every value that was changed, in the order of recording."""
    return list(_changes(facts, {name: [] for name in names}))


def former_of(facts: Iterable[SettingsFact], names: Sequence[str]) -> list[dict]:
    """What a row keeps of the periods that are over."""
    told = periods(facts, names)
    return [{"until": after.since.isoformat(), **before.values} for before, after in zip(told, told[1:], strict=False)]


def told_at(former: Sequence[dict], moment: datetime) -> dict | None:
    """The former values that held at a moment; None where those of now did."""
    return next((each for each in former if moment < datetime.fromisoformat(each["until"])), None)


def known_at(facts: Sequence[SettingsFact], moment: datetime) -> SettingsFact | None:
    """The newest fact that was recorded by a moment; the first of all where none was, and None where there is none."""
    return next((fact for fact in reversed(facts) if fact.recorded_at <= moment), facts[0] if facts else None)


def refuse_overtaken(row: DatedModel, after: int | None) -> None:
    """Raises Newer where somebody has changed the row, which is to be locked, since `after` was its newest fact."""
    refuse_newer(after, row.settings_facts.all(), lambda fact: entered(fact, "other settings"))


def refuse_correction(changed: Iterable[str], reason: str) -> str:
    """The reason of a correction. Raises ValidationError where it gives none, and where nothing would be put right."""
    if not list(changed):
        raise ValidationError("Nothing is different from what is set, so there is nothing to correct.")
    return as_reason(reason, ask=WHY_CORRECTED)


def _changes(facts: Iterable[SettingsFact], courses: dict[str, list[tuple]]):
    """Fills the course of each value, as (since, value); a clock that was set back turns no order round."""
    for fact in facts:
        for name, course in courses.items():
            value = getattr(fact, name)
            if not course:
                course.append((SINCE_EVER, value))
            elif value != course[-1][1]:
                since, old = course[-1]
                if fact.corrects:
                    course.pop()
                else:
                    since = max(fact.recorded_at, since or fact.recorded_at)
                if not course or course[-1][1] != value:
                    course.append((since, value))
                yield SettingChange(name, old, value, since, fact)


def _value_at(course: list[tuple], at: datetime | None):
    return next(value for since, value in reversed(course) if since is None or (at is not None and since <= at))
