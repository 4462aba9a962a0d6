"""What a reviewer reads of some days: what was planned, done, missed, out of limits and put right, on one screen."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch
from django.urls import reverse

from compliance.checks.models import Check, CheckVoid, Standing
from compliance.checks.queries import ENTERED_APART, is_late, standing_subquery
from compliance.quarantine.models import Decision, Fate
from compliance.readings.bursts import bursts_of
from compliance.readings.models import CorrectiveAction, Deviation, Reading, ReadingVoid
from compliance.readings.queries import MADE_AT_THE_TIME
from compliance.reminders.queries import Told, asked_for, tell
from compliance.reminders.status import OPEN, Status
from shared.plurals import plural
from shared.time_text import styled
from sites.models import Person, Site

MOST = 300  # readings that are listed
DOUBTED = (Standing.QUARANTINED, Standing.UNPROVEN)


@dataclass(frozen=True, slots=True)
class ReviewSheet:
    """A site from `start` up to `end`."""

    site: Site
    start: datetime
    end: datetime
    now: datetime

    def context(self) -> dict:
        """Lists for `components/worklist.html`. The same number of queries for any number of records."""
        planned, deviations = self._planned(), self._deviations()
        checks, readings = list(self._checks()), list(self._readings()[: MOST + 1])
        return {
            "tiles": _tiles(planned, checks, deviations),
            "exceptions": [self._asked(each) for each in planned if not _simply_done(each)],
            "checks": [self._check(each) for each in checks],
            "readings": [self._reading(each) for each in readings[:MOST]],
            "more_readings": len(readings) > MOST,
            "deviations": [item for each in deviations for item in self._deviation(each)],
            "corrections": [self._void(each) for each in self._voids()],
            "decisions": self._decisions(),
            "bursts": self._bursts(),
        }

    def _at(self, moment: datetime) -> str:
        return styled(moment, self.site.zone, "short")

    def _within(self, name: str) -> dict:
        return {f"{name}__gte": self.start, f"{name}__lt": self.end}

    def _planned(self) -> list[Told]:
        return list(tell(asked_for(self.site, self.start, self.end, self.now).order_by("due_at", "pk")))

    def _asked(self, told: Told) -> dict:
        reminder, excuse = told.reminder, told.excuse
        why = f"excused by {excuse.name_of()}: {excuse.reason}" if excuse else reminder.cancelled_because
        late = "done after its time" if told.done_late else ""
        value = "not_owed" if told.not_owed else "unfit" if told.unfit or told.doubted else told.status.value
        return {
            "title": f"Check {told.title}" if reminder.probe_id else f"Reading: {told.title}",
            "meta": " · ".join(filter(None, (f"due {self._at(reminder.due_at)}", late, why))),
            "badge_kind": "reminder",
            "badge_value": value,
            "tone": "bad" if told.status == Status.MISSED or told.excused_late else "doubt",
        }

    def _checks(self):
        found = Check.objects.filter(site=self.site, **self._within("checked_at")).order_by("checked_at", "pk")
        return found.select_related("probe", "checked_by", "recorded_by", "void").prefetch_related(
            *_names("checked_by")
        )

    def _check(self, check: Check) -> dict:
        return {
            "title": f"{check.probe_then.code}: {check.get_kind_display()}",
            "url": reverse("check_detail", args=[check.pk]),
            "meta": self._by(check, check.checked_at, "checked_by"),
            **({"badge_kind": "record", "badge_value": "void"} if hasattr(check, "void") else _verdict(check)),
        }

    def _readings(self):
        found = Reading.objects.filter(site=self.site, **self._within("taken_at")).order_by("taken_at", "pk")
        related = ("probe", "taken_by", "recorded_by", "void", "deviation")
        found = found.annotate(standing=standing_subquery())
        return found.select_related(*related).prefetch_related(*_names("taken_by"))

    def _reading(self, reading: Reading) -> dict:
        badges = {
            ("record", "void"): hasattr(reading, "void"),
            ("standing", reading.standing): reading.standing in DOUBTED,
            ("deviation", "breach"): hasattr(reading, "deviation"),
            ("record", "late"): _late(reading.recorded_at, reading.taken_at),
        }
        kind, value = next((badge for badge, holds in badges.items() if holds), ("", ""))
        more = (reading.probe_then.code, reading.used_despite)
        return {
            "title": f"{reading.item} {reading.typed} {reading.get_unit_display()}",
            "url": reverse("reading_detail", args=[reading.pk]),
            "meta": self._by(reading, reading.taken_at, "taken_by", *more),
            "badge_kind": kind,
            "badge_value": value,
            "tone": "bad" if kind in ("standing", "deviation") else "",
        }

    def _by(self, fact, moment: datetime, person: str, *more: str) -> str:
        """When and by whom; the time of entry where that was not at once, and who entered it where somebody else did."""
        late = "entered late" if _late(fact.recorded_at, moment) else "entered"
        when = self._at(fact.recorded_at) if is_late(moment, fact.recorded_at, ENTERED_APART) else ""
        other = fact.recorded_by_id != getattr(fact, f"{person}_id")
        by = f"by {fact.name_of()}" if other else ""
        entered = " ".join(filter(None, (late, when, by))) if when or by else ""
        return " · ".join(filter(None, (self._at(moment), str(fact.name_of(person)), *more, entered)))

    def _bursts(self) -> list[str]:
        found = bursts_of(self.site, self.start, self.end, self.now)
        people = Person.objects.prefetch_related("names").in_bulk({burst.by for burst in found})
        return [burst.words(self.site.zone, lambda pk, at: people[pk].name_at(at)) for burst in found]

    def _deviations(self) -> list[Deviation]:
        actions = CorrectiveAction.objects.current().select_related("decided_by", "recorded_by").order_by("pk")
        current = Prefetch("actions", actions.prefetch_related(*_names("decided_by")), to_attr="done")
        found = Deviation.objects.filter(reading__site=self.site, **self._within("reading__taken_at")).live("reading")
        return list(found.select_related("reading").prefetch_related(current).order_by("reading__taken_at", "pk"))

    def _deviation(self, deviation: Deviation) -> Iterator[dict]:
        """What was done about it; or that nothing is recorded."""
        reading = deviation.reading
        about = {
            "title": f"{reading.item} {reading.typed} {reading.get_unit_display()}: {deviation.why}",
            "url": reverse("deviation_detail", args=[deviation.pk]),
            "badge_kind": "deviation",
        }
        if not deviation.done:
            yield about | {"meta": "Nothing is recorded of what was done.", "badge_value": "open", "tone": "bad"}
        for action in deviation.done:
            words = (action.action, f"Cause: {action.cause}", f"Food: {action.get_disposition_display()}", action.note)
            meta = " · ".join(filter(None, (*words, self._by(action, action.done_at, "decided_by"))))
            yield about | {"meta": meta, "badge_value": "closed"}

    def _voids(self) -> list:
        by = ("recorded_by", "voids__probe")
        of_readings = ReadingVoid.objects.filter(voids__site=self.site, **self._within("voids__taken_at"))
        of_checks = CheckVoid.objects.filter(voids__site=self.site, **self._within("voids__checked_at"))
        found = (each.select_related(*by).prefetch_related("recorded_by__names") for each in (of_readings, of_checks))
        return sorted((void for each in found for void in each), key=lambda void: void.recorded_at)

    def _void(self, void) -> dict:
        said = "Corrected" if void.replacement_id else "Struck out"
        return {
            "title": f"{said}: {void.voids}",
            "meta": f"{void.reason} · {void.name_of()}, {self._at(void.recorded_at)}",
            "badge_kind": "record",
            "badge_value": "corrected" if void.replacement_id else "void",
        }

    def _decisions(self) -> list[str]:
        made = Decision.objects.current().filter(reading__site=self.site, **self._within("reading__taken_at"))
        fates = Counter(made.order_by().values_list("fate", flat=True))
        return [f"{plural(number, 'reading')}: {Fate(fate).label}" for fate, number in fates.items()]


def _names(person: str) -> tuple[str, str]:
    return f"{person}__names", "recorded_by__names"


def _late(recorded_at: datetime, at: datetime) -> bool:
    return recorded_at > at + MADE_AT_THE_TIME


def _simply_done(told: Told) -> bool:
    return told.status == Status.CLEARED and not (told.done_late or told.unfit)


def _verdict(check: Check) -> dict:
    failed = check.verdict == "out_of_tolerance"
    return {"badge_kind": "verdict", "badge_value": check.verdict} | ({"tone": "bad"} if failed else {})


def _tiles(planned: Iterable[Told], checks: Iterable[Check], deviations: list[Deviation]) -> list[dict]:
    done = sum(each.status == Status.CLEARED for each in planned)
    late = sum(each.done_late for each in planned)
    missed = sum(each.status == Status.MISSED or each.excused_late for each in planned)
    waiting = sum(each.status in OPEN for each in planned)
    failed = sum(each.verdict == "out_of_tolerance" and not hasattr(each, "void") for each in checks)
    undone = sum(not each.done for each in deviations)
    return [
        {"value": done, "label": "done as planned", "tone": "good", "note": f"{late} of them late" if late else ""},
        {
            "value": missed,
            "label": "missed",
            "tone": "bad" if missed else "good",
            "note": f"{waiting} still open" if waiting else "",
        },
        {"value": failed, "label": "checks failed", "tone": "bad" if failed else "good"},
        {
            "value": len(deviations),
            "label": "limits not met",
            "tone": "bad" if undone else "doubt" if deviations else "good",
            "note": f"{undone} with nothing done" if undone else "",
        },
    ]
