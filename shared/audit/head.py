"""The head of the record, as paper and mail carry it: whoever keeps one can later tell whether the history was written anew."""

from datetime import tzinfo

from shared.time_text import zoned_moment

from .models import Entry

KEEP = (
    "The head of the record stands at the foot of each page. Whoever keeps this paper can have it compared with the record at "
    "any time (manage.py verify_records --head): if anything that was entered before has been changed, taken out or put in "
    "behind the program's back, the head is no longer found. It says nothing of what was changed before the first print."
)


def head_line(entry: Entry | None, zone: tzinfo) -> str:
    """Number, time and hash of the newest entry of a business; empty where nothing was ever entered."""
    return f"Record head {entry.number}, {zoned_moment(entry.at, zone)}: {in_groups(entry.hash)}" if entry else ""


def in_groups(text: str) -> str:
    """As it can be read out and typed."""
    return " ".join(text[start : start + 8] for start in range(0, len(text), 8))
