"""An outbox as it was when senders held leases, brought up to date: `python -m tests.notices.migrating` prints what it holds."""

import json
from datetime import UTC, datetime, timedelta

import django

django.setup()

from tests.old_states import models_at  # noqa: E402

BEFORE, AFTER = [("notices", "0006_passwords_told")], [("notices", "0009_no_leases")]
NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


def rows(notice) -> list:
    shown = notice.objects.order_by("about").values_list("about", "state", "attempts", "unclear_attempts", "claimed_at")
    return [[*row[:-1], row[-1] and row[-1].isoformat()] for row in shown]


def main() -> None:
    model = models_at(BEFORE)
    notice = model("notices", "Notice")
    person = model("sites", "Person").objects.create(email="mara@kitchen.example", name="Mara Holt")
    told = {"kind": "failed", "person": person, "in_page": True, "link": "/", "made_at": NOON}
    for state in ("failed", "needless", "page", "sent", "waiting"):
        notice.objects.create(about=state, state=state, attempts=2, cut_short=1, **told)
    lease = {"holder": "dead", "leased_at": NOON, "leased_until": NOON + timedelta(minutes=2)}
    notice.objects.create(about="leased", state="leased", attempts=3, cut_short=3, **lease, **told)
    model("notices", "Mark").objects.create(kind="failed", number=7, at=NOON)
    model = models_at(AFTER)
    known = list(model("notices", "Notified").objects.values_list("kind", "number"))
    print(json.dumps({"notices": rows(model("notices", "Notice")), "notified": known}))
    notice = models_at(BEFORE)("notices", "Notice")
    print(json.dumps(list(notice.objects.filter(state="leased").values_list("about", "cut_short", "holder"))))


if __name__ == "__main__":
    main()
