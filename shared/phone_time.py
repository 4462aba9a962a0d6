"""When something was done that a phone kept without network: by the phone's clock, put right by how far that was off."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from .time_text import minutes_seconds, zoned_moment

ALLOWED = timedelta(minutes=5)  # that a clock may be off before somebody is asked for the true time


class AskTime(Exception):
    """The clock is far off: what time is it `now`; or it was set meanwhile: what time was it `then`?"""


@dataclass(frozen=True, slots=True)
class PhoneTime:
    """`at`: by the phone's clock. It was ahead of the server's by `off` when that was last asked before, and is by `off_now`;
    by `said`, as somebody answered who was asked for the true time."""

    at: datetime
    off: timedelta
    off_now: timedelta
    said: timedelta | None = None

    def true_time(self, now: datetime) -> datetime:
        """Raises AskTime where nobody has said what it is."""
        if self.said is None and abs(self.off - self.off_now) > ALLOWED:
            raise AskTime("then")
        if self.said is None and abs(self.off) > ALLOWED:
            raise AskTime("now")
        found = self.at - (self.off if self.said is None else self.said)
        if found > now + ALLOWED:
            raise AskTime("then")
        return min(found, now)

    def kept(self) -> dict:
        """As a record keeps it."""
        answer = {} if self.said is None else {"said_s": round(self.said.total_seconds())}
        return {"at": self.at.isoformat(), "off_s": round(self.off.total_seconds())} | answer


def phone_words(kept: dict | None, zone: tzinfo) -> str:
    """Such as “14 Mar 2026 09:12 GMT by its own clock, which was 2 s ahead”; empty for what was not kept on a phone."""
    if not kept:
        return ""
    at = datetime.fromisoformat(kept["at"]).astimezone(UTC)
    words = f"{zoned_moment(at, zone)} by its own clock, which was {_off(kept['off_s'])}"
    return f"{words}; put right by {_off(kept['said_s'])}, as was answered" if "said_s" in kept else words


def _off(seconds: int) -> str:
    if not seconds:
        return "right"
    return f"{minutes_seconds(abs(seconds))} {'ahead' if seconds > 0 else 'behind'}"
