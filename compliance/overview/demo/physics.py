"""What an invented probe shows: plausible errors and settling, from a seeded source of chance."""

from datetime import datetime, timedelta
from math import exp
from random import Random

from .scenario import ProbeStory

# error far from zero over error at zero: a thermistor's grows with temperature, an electronic offset does not.
GROWTH_AT_75 = {"thermistor": 0.25, "pt100_b": 0.02, "thermocouple_k_2": -0.05}


class SimulatedProbe:
    """One probe through the half-year: its true error at any time."""

    def __init__(self, story: ProbeStory, begins: datetime):
        self.story, self.begins = story, begins
        self.steps: list[tuple[datetime, float]] = []
        self.mended_at: datetime | None = None

    def error(self, at: datetime) -> float:
        """At zero, in °C. A repair leaves a small error behind and ends the drift."""
        if self.mended_at and at >= self.mended_at:
            return 0.1
        days = (at - self.begins) / timedelta(days=1)
        drift = self.story.behaviour.get("slope", 0.0) * days
        start = self.story.behaviour.get("start", self.story.error)
        return start + drift + sum(step for since, step in self.steps if at >= since)

    def shows(self, truth: float, at: datetime) -> str:
        """What the display says in food of `truth` °C."""
        return self.rounded(self._felt(truth, at))

    def _felt(self, truth: float, at: datetime) -> float:
        growth = 1 + GROWTH_AT_75.get(self.story.sensor, 0.0) * abs(truth) / 75
        return truth + self.error(at) * growth

    def rounded(self, value: float) -> str:
        digit = self.story.resolution_milli / 1000
        return f"{round(value / digit) * digit:.1f}"

    def in_ice(self, at: datetime, chance: Random) -> list[tuple[int, str, str]]:
        """Timed readings of a check: a fast part, a slow part, and a hand that types every few seconds."""
        return self._timed(self.error(at), 19, 62, chance)

    def in_boiling(self, at: datetime, boils_at: float, chance: Random) -> list[tuple[int, str, str]]:
        """The same from the warmth of a kitchen up to where water boils."""
        end = self._felt(boils_at, at)
        return self._timed(end, 22 - end, 100, chance)

    def _timed(self, end: float, far: float, until: float, chance: Random) -> list[tuple[int, str, str]]:
        fast, slow = chance.uniform(2.0, 3.0), chance.uniform(4.0, 6.0)
        elapsed, found = 0.0, []
        while elapsed < until:
            elapsed += chance.uniform(6, 10)
            value = end + far * (0.85 * exp(-elapsed / fast) + 0.15 * exp(-elapsed / slow))
            found.append((int(elapsed * 1000), self.rounded(value), "C"))
        return found
