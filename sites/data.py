"""What somebody says of people."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class NewPerson:
    """Without a password nobody signs in as them until they choose one by a link."""

    email: str
    name: str
    initials: str
    password: str | None = None
