"""Sessions in the database. Every page reads one, so the statement is put together once."""

from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.db import models
from django.utils import timezone

from shared.prepared import Prepared, Slot

_DATA = Prepared(
    lambda: (
        Session.objects.filter(
            session_key=Slot("key", models.CharField()), expire_date__gt=Slot("now", models.DateTimeField())
        )
        .order_by()
        .values_list("session_data")
    )
)


class SessionStore(db.SessionStore):
    def load(self):
        """What is in it; nothing, under a key that is made anew, where there is none or its time is over."""
        rows = _DATA.rows(key=self.session_key, now=timezone.now())
        if not rows:
            self._session_key = None
            return {}
        return self.decode(rows[0][0])
