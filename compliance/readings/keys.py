"""Keys that keep a reading from being recorded twice, of 32 characters each. What a browser sends never becomes the key of a
row in a file, which anybody could work out and take; and the same at another site is another reading.

Until both had their first letters a form's key was stored as it was sent, and a row's as the whole of its digest: a form of
then is found by `sent_as`, and a row by what it says.
"""

from hashlib import blake2b
from uuid import UUID


def form_key(site: int, sent: str | UUID) -> str:
    return _key("f", f"{site}|{sent_as(sent)}")


def sent_as(sent: str | UUID) -> str:
    return str(sent).replace("-", "")


def row_key(site: int, probe: int, limit: int, taken_at: str, item: str, milli: int) -> str:
    """The same reading has the same key in whichever file it comes. `taken_at` is the text of a naive UTC time."""
    return _key("r", f"{site}|{probe}|{limit}|{taken_at}|{milli}|{item}")


def _key(kind: str, told: str) -> str:
    return f"{kind}:{blake2b(told.encode(), digest_size=15).hexdigest()}"
