"""An outbox as it was when senders held leases, brought up to date."""

from datetime import UTC, datetime, timedelta

from tests.old_states import models_at

BEFORE, AFTER = [("notices", "0006_passwords_told")], [("notices", "0009_no_leases")]
NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)


def rows(notice) -> list:
    shown = notice.objects.order_by("about").values_list("about", "state", "attempts", "unclear_attempts", "claimed_at")
    return [[*row[:-1], row[-1] and row[-1].isoformat()] for row in shown]


def there_and_back() -> tuple[dict, list]:
    """What it holds as it is brought up to date, and back again."""
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
    forwards = {"notices": rows(model("notices", "Notice")), "notified": known}
    leased = models_at(BEFORE)("notices", "Notice").objects.filter(state="leased")
    return forwards, list(leased.values_list("about", "cut_short", "holder"))
