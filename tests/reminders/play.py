"""A probe at a site of its own to which all sorts of things happen, hour by hour."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from django.core.exceptions import ValidationError
from hypothesis import strategies as st

from compliance.checks.actions import void_check, void_event
from compliance.checks.instruments import move_probe
from compliance.checks.models import Check
from compliance.plans.calendar import DAY
from compliance.plans.models import Closure
from compliance.probes.models import Event, Probe
from compliance.reminders import planning
from compliance.reminders.actions import excuse_reminder
from compliance.reminders.models import Reminder
from sites.models import Site
from tests.checks import making
from tests.world import make_probe, make_site

SPRING, AUTUMN = datetime(2026, 3, 20, 12, tzinfo=UTC), datetime(2026, 10, 16, 12, tzinfo=UTC)  # two Fridays
ZONES = ("Europe/Paris", "America/New_York", "Pacific/Auckland", "Europe/London")
HOURS = 24 * 14
LATE_HOURS = [(time(15), time(2))] * 5 + [None, (time(15), time(2))]  # past midnight, closed on Saturdays
ROWS = ("point", "day", "opens_at", "due_at", "grace_at", "closes_at", "because", "cancelled_at", "cancelled_because")


@dataclass
class Play:
    """A probe at a site of its own, with another site to go to."""

    world: object
    site: Site
    other: Site
    probe: Probe
    began: datetime

    @classmethod
    def begin(cls, world, began: datetime) -> "Play":
        number = Site.objects.count()
        site, other = make_site(world.area, f"Here {number}"), make_site(world.area, f"There {number}")
        probe = make_probe(site, f"S{number}", by=world.manager)
        making.good(probe, world.cook, began - timedelta(days=1))
        return cls(world, site, other, probe, began)

    def act(self, what: str, number: int, now: datetime) -> None:
        """What cannot be done is left out, as a person would."""
        self.probe.refresh_from_db()
        try:
            getattr(self, what)(number, now)
        except ValidationError:
            return

    def good(self, number, now):
        making.good(self.probe, self.world.cook, now)

    def late(self, number, now):
        making.good(self.probe, self.world.cook, max(self.began, now - timedelta(hours=number)))

    def bad(self, number, now):
        making.bad(self.probe, self.world.cook, now - timedelta(hours=number % 3))

    def too_low(self, number, now):
        making.boiling(self.probe, self.world.cook, now, "92.0")

    def boiled(self, number, now):
        making.boiling(self.probe, self.world.cook, now)

    def excused(self, number, now):
        rows = Reminder.objects.filter(probe=self.probe, due_at__lte=now, cancelled_at=None).order_by("due_at")
        if rows:
            excuse_reminder(by=self.world.manager, reminder=rows[len(rows) - 1], reason="Not in use yet this week.")

    def unclear(self, number, now):
        making.unclear(self.probe, self.world.cook, now)

    def dropped(self, number, now):
        making.event(self.probe, self.world.cook, "dropped", now - timedelta(hours=number % 30))

    def withdrawn(self, number, now):
        making.event(self.probe, self.world.cook, "withdrawn", now - timedelta(hours=number % 30), "to the laboratory")

    def returned(self, number, now):
        making.event(self.probe, self.world.cook, "returned", now)

    def void(self, number, now):
        checks = list(Check.objects.live().filter(probe=self.probe).order_by("pk"))[1:]
        if checks:
            void_check(by=self.world.manager, check=checks[number % len(checks)], reason="Wrong probe.")

    def forget(self, number, now):
        events = list(Event.objects.live().filter(probe=self.probe).order_by("pk"))
        if events:
            void_event(by=self.world.manager, event=events[number % len(events)], reason="Wrong probe.")

    def every(self, number, now):
        given = {"every_days": 1 + number % 6, "at": time(number % 24)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def patient(self, number, now):
        given = {"every_days": 1 + number % 2, "at": time(number % 24), "grace_minutes": 60 * (number % 70)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def before_service(self, number, now):
        planning.change_plan(by=self.world.manager, probe=self.probe, every_days=1, before_service=True, reason="tried")

    def at_midnight(self, number, now):
        opens = time(number % 2, 10 * (number % 4))
        planning.change_opening(by=self.world.manager, site=self.site, hours=[(opens, time(20))] * 7)

    def weekdays(self, number, now):
        given = {"pattern": "weekdays", "weekdays": 1 + number % 127, "at": time(number % 24)}
        planning.change_plan(by=self.world.manager, probe=self.probe, reason="tried", **given)

    def site_plan(self, number, now):
        planning.change_plan(by=self.world.manager, site=self.other, every_days=1 + number % 4, reason="tried")

    def closed(self, number, now):
        first = now.date() + DAY * (number % 4)
        planning.add_closure(by=self.world.manager, site=self.site, first_day=first, last_day=first + DAY, why="works")

    def open_again(self, number, now):
        closures = list(Closure.objects.live().filter(site=self.site))
        if closures:
            planning.strike_closure(by=self.world.manager, closure=closures[-1], reason="called off")

    def hours(self, number, now):
        planning.change_opening(by=self.world.manager, site=self.site, hours=LATE_HOURS)

    def zone(self, number, now):
        site = Site.objects.get(pk=self.site.pk)
        planning.change_site(by=self.world.supervisor, site=site, changes={"time_zone": ZONES[number % 4]})

    def closed_for_good(self, number, now):
        site = Site.objects.get(pk=self.site.pk)
        planning.change_site(by=self.world.supervisor, site=site, changes={"closed": not site.closed})

    def moved(self, number, now):
        to = self.other if self.probe.site_id == self.site.pk else self.site
        at = now - timedelta(hours=number % 20)
        move_probe(by=self.world.supervisor, probe=self.probe, site=to, starts_at=at, reason="Lent.")

    def rows(self) -> list[tuple]:
        """All, ahead too; the two sites by other names than their own."""
        rows = Reminder.objects.filter(probe=self.probe).order_by("due_at", "point")
        names = {self.site.name: "here", self.other.name: "there"}
        return [
            (names[name], *row[:-1], row[-1].replace(self.other.name, "there").replace(self.site.name, "here"))
            for name, *row in rows.values_list("site__name", *ROWS)
        ]


ACTS = [name for name in vars(Play) if name not in ("begin", "act", "rows") and not name.startswith("_")]
ACTS = [name for name in ACTS if callable(getattr(Play, name))]
scripts = st.lists(
    st.tuples(st.integers(1, HOURS), st.sampled_from(ACTS), st.integers(0, 127)), min_size=1, max_size=9
).map(sorted)


def run(play: Play, script, clock, *, nights: bool) -> datetime:
    """Let it happen; gives the end. `nights`: whether rows are laid ahead every night, or nothing ran all the time."""
    acts = list(script)
    for hour in range(HOURS + 1):
        now = play.began + timedelta(hours=hour)
        clock.move_to(now)
        if nights and hour % 24 == 14:
            planning.extend_horizon(now)
        while acts and acts[0][0] == hour:
            _, what, number = acts.pop(0)
            play.act(what, number, now)
    planning.extend_horizon(now)
    return now
