"""Passwords that the book hands out: easy to read aloud and to type on a phone, hard to guess."""

import secrets

# Letters and digits that nobody confuses when they are read aloud or written on paper.
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
GROUPS, GROUP_SIZE = 4, 4


def one_time_password() -> str:
    """Four groups of four, such as 'kd7m-w2xp-9hfa-t3re': 79 bits from the system's source of randomness."""
    groups = ("".join(secrets.choice(LETTERS) for _ in range(GROUP_SIZE)) for _ in range(GROUPS))
    return "-".join(groups)
