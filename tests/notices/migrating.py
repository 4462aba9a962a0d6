"""An outbox as it was when senders held leases, brought up to date: `python -m tests.notices.migrating` prints what it holds."""

import json
from datetime import UTC, datetime, timedelta

import django
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

django.setup()

BEFORE, AFTER = ("notices", "0006_passwords_told"), ("notices", "0009_no_leases")
NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


def models_at(target) -> tuple:
    executor = MigrationExecutor(connection)
    executor.migrate([target])
    apps = MigrationExecutor(connection).loader.project_state([target]).apps
    return apps.get_model("notices", "Notice"), apps


def rows(notice) -> list:
    shown = notice.objects.order_by("about").values_list("about", "state", "attempts", "unclear_attempts", "claimed_at")
    return [[*row[:-1], row[-1] and row[-1].isoformat()] for row in shown]


def main() -> None:
    notice, apps = models_at(BEFORE)
    person = apps.get_model("sites", "Person").objects.create(email="mara@kitchen.example", name="Mara Holt")
    told = {"kind": "failed", "person": person, "in_page": True, "link": "/", "made_at": NOON}
    for state in ("failed", "needless", "page", "sent", "waiting"):
        notice.objects.create(about=state, state=state, attempts=2, cut_short=1, **told)
    lease = {"holder": "dead", "leased_at": NOON, "leased_until": NOON + timedelta(minutes=2)}
    notice.objects.create(about="leased", state="leased", attempts=3, cut_short=3, **lease, **told)
    apps.get_model("notices", "Mark").objects.create(kind="failed", number=7, at=NOON)
    notice, apps = models_at(AFTER)
    known = list(apps.get_model("notices", "Notified").objects.values_list("kind", "number"))
    print(json.dumps({"notices": rows(notice), "notified": known}))
    notice, _ = models_at(BEFORE)
    print(json.dumps(list(notice.objects.filter(state="leased").values_list("about", "cut_short", "holder"))))


if __name__ == "__main__":
    main()
