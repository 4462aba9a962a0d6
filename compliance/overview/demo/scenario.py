"""The invented business of the demo, as its fixture tells it."""

import json
from argparse import ArgumentTypeError
from dataclasses import dataclass, field
from pathlib import Path

FILE = Path(__file__).resolve().parents[3] / "fixtures" / "demo" / "scenario.json"
DAYS, FEWEST_DAYS = 182, 60  # that are told; the fewest that its story fits into


@dataclass(frozen=True, slots=True)
class SiteStory:
    area: str
    name: str
    kind: str
    address: str
    altitude_m: int
    manager: str
    cook: str

    @property
    def serves_daily(self) -> bool:
        return self.kind == "home"


@dataclass(frozen=True, slots=True)
class ProbeStory:
    """A probe and what happens to it in the half-year: nothing, a drift, a drop, an adjustment, a move."""

    site: str
    code: str
    use: str
    description: str
    sensor: str
    resolution_milli: int
    stem_diameter_mm: float
    error: float
    behaviour: dict = field(default_factory=dict)

    @property
    def kind(self) -> str:
        return self.behaviour.get("kind", "steady")


@dataclass(frozen=True, slots=True)
class Scenario:
    business: str
    time_zone: str
    country: str
    subdivision: str
    rule_set: str
    supervisors: dict[str, str]
    head: str
    reader: str
    sites: tuple[SiteStory, ...]
    probes: tuple[ProbeStory, ...]


def days_of_demo(typed: str) -> int:
    """As somebody asks for them at a command. Raises ArgumentTypeError where its story would not fit into them."""
    if not typed.isdecimal() or not FEWEST_DAYS <= int(typed) <= DAYS:
        raise ArgumentTypeError(f"give a number of days from {FEWEST_DAYS} to {DAYS}")
    return int(typed)


def load_scenario() -> Scenario:
    told = json.loads(FILE.read_text(encoding="utf-8"))
    told["sites"] = tuple(SiteStory(**site) for site in told["sites"])
    told["probes"] = tuple(ProbeStory(**probe) for probe in told["probes"])
    return Scenario(**told)
