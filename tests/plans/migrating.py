"""A database of before rows lay ahead, brought up to date: what became of its rows."""

import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from io import StringIO

from django.core.management import call_command

from compliance.checks.models import ProbeState
from compliance.plans.models import Reminder, Unsettled
from compliance.probes.models import Probe
from compliance.reminders.planning import settle_all
from sites.models import Person
from tests.checks import making
from tests.conftest import NOON
from tests.old_states import made_at

BEFORE = [
    ("plans", "0005_horizon"),
    ("checks", "0010_numbers_kept"),
    ("reminders", "0004_due_times_beside_plans"),
    ("notices", "0009_no_leases"),
    # What the others have become since is looked at elsewhere, and made at once here.
    ("sites", "0014_former_review_days"),
    ("probes", "0006_gone_lately"),
    ("auth", "0012_alter_user_first_name_max_length"),
    ("sessions", "0001_initial"),
]
TODAY = datetime.combine(NOON.date(), time(0, 1), UTC)
DAY = timedelta(days=1)


def as_it_was() -> None:
    """A probe that is checked every day, checked last five days ago: what was missed, excused, lifted, and open today."""
    model = made_at(BEFORE)
    person = model("sites", "Person").objects.create(email="mara@kitchen.example", name="Mara Holt", initials="MH")
    business = model("sites", "Business").objects.create(name="Larkfield Kitchens")
    area = model("sites", "Area").objects.create(business=business, name="North")
    site = model("sites", "Site").objects.create(area=area, name="Alder School", time_zone="UTC")
    probe = model("probes", "Probe").objects.create(business=business, site=site, code="P1")
    by, since = {"recorded_by": person}, TODAY - 6 * DAY
    model("probes", "Placement").objects.create(probe=probe, site=site, starts_at=since, recorded_at=since, **by)
    plan = {"every_days": 1, "at": time(0, 1), "effective_from": since.date(), "recorded_at": since}
    key = model("plans", "CheckPlan").objects.create(business=business, **plan, **by).pk
    check = model("checks", "Check").objects.create(
        key=uuid.uuid4(),
        probe=probe,
        site=site,
        kind="zero",
        stage="as_found",
        checked_at=TODAY - 5 * DAY,
        checked_by=person,
        verdict="in_tolerance",
        recorded_at=TODAY - 5 * DAY,
        tolerance_milli=1000,
        decision_rule="guarded",
        **by,
    )
    due = [TODAY - n * DAY for n in range(4, -1, -1)]
    model("checks", "ProbeState").objects.create(
        probe=probe,
        standing="pending",
        last_check=check,
        last_good_check=check,
        last_good_at=check.checked_at,
        due_at=due[0],
        due_because="every day",
        due_day=due[0].date(),
        anchor_at=check.checked_at,
        next_day=due[1].date(),
    )
    _rows_as_they_were(model, probe, site, person, due)
    model("plans", "Slot").objects.create(
        site=site, plan_key=key, day=due[4].date(), named=True, due_at=due[4], because="every day"
    )


def _rows_as_they_were(model, probe, site, person, due: list[datetime]) -> None:
    reminders = model("plans", "Reminder").objects
    rows = [
        reminders.create(
            probe=probe,
            site=site,
            since_at=due[0],
            opens_at=at - DAY,
            due_at=at,
            because="every day",
            grace_at=at + timedelta(hours=2),
            closes_at=at + DAY,
        )
        for at in due
    ]
    model("reminders", "Excuse").objects.create(reminder_id=rows[1].pk, reason="In the laboratory.", recorded_by=person)
    reminders.filter(pk=rows[2].pk).update(lifted_at=due[2], lifted_because="withdrawn from use")
    reminders.create(
        probe=probe,
        site=site,
        since_at=due[3] + DAY / 2,
        opens_at=due[3],
        due_at=due[3] + DAY / 2,
        away=True,
        because="out of tolerance at its last boiling check",
        grace_at=due[4],
        closes_at=due[4] + DAY,
    )


def told() -> list:
    rows = Reminder.objects.filter(due_at__lte=NOON).order_by("due_at")
    return [
        [
            (row.due_at - TODAY) / DAY,
            row.point,
            row.cancelled_because,
            row.excuses.count(),
            row.late_at == row.grace_at,
            row.recorded_at is None,
        ]
        for row in rows
    ]


def stages() -> Iterator[dict]:
    """What is so as it is migrated, settled, and checked once more."""
    as_it_was()
    call_command("migrate", verbosity=0)
    before = told()
    ahead = Reminder.objects.filter(due_at__gt=NOON).order_by("due_at")
    yield {"rows": before, "ahead": ahead.count(), "waiting": Unsettled.objects.count()}
    settle_all()
    said = StringIO()
    call_command("verify_due", stdout=said)
    last = Reminder.objects.get(due_at=TODAY)
    yield {
        "same": told() == before,
        "ahead": [row.recorded_at is None for row in ahead][:1],
        "rows": len(ahead),
        "ends": last.closes_at == ahead[0].opens_at,
        "said": said.getvalue().strip(),
        "waiting": Unsettled.objects.count(),
    }
    making.good(Probe.objects.get(), Person.objects.get(), NOON)
    call_command("verify_due", stdout=said)
    yield {"same": told() == before, "due": ProbeState.objects.get().due_at > NOON}
