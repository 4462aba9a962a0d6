"""One way only to write a value down, whatever database keeps it: JSON in the manner of RFC 8785 (keys in order, no blanks, whole
numbers in digits), with moments in UTC to the microsecond, and decimals as text without needless noughts.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from decimal import Decimal
from json.encoder import encode_basestring as quoted
from uuid import UUID


def canonical(value) -> str:
    """Raises TypeError for what has no such form."""
    write = _WAYS.get(type(value))
    if write is None:
        write = next((_WAYS[kind] for kind in type(value).__mro__ if kind in _WAYS), None)
        if write is None:
            raise TypeError(f"Say in {__name__} how a {type(value).__name__} is written.")
    return write(value)


def moment(value: datetime) -> str:
    return f"{value.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"


def _number(value: float) -> str:
    """PostgreSQL writes 1e+20 in a JSON column out with all its noughts, and it comes back as a whole number."""
    if value.is_integer():
        return str(int(Decimal(repr(value))))
    text = repr(value)
    if "e" not in text:
        return text
    digits, _, power = text.partition("e")
    return f"{Decimal(text):f}" if abs(value) >= 1e-6 else f"{digits}e{int(power)}"


def _object(value: dict) -> str:
    keys = sorted(value) if "".join(value).isascii() else sorted(value, key=lambda key: key.encode("utf-16-be"))
    return "{" + ",".join([f"{quoted(key)}:{canonical(value[key])}" for key in keys]) + "}"


_WAYS: dict[type, Callable[..., str]] = {
    str: lambda value: quoted(str(value)),
    bool: lambda value: "true" if value else "false",
    int: lambda value: str(int(value)),
    float: _number,
    type(None): lambda value: "null",
    dict: _object,
    list: lambda value: "[" + ",".join(map(canonical, value)) + "]",
    tuple: lambda value: "[" + ",".join(map(canonical, value)) + "]",
    datetime: lambda value: f'"{moment(value)}"',
    date: lambda value: f'"{value.isoformat()}"',
    time: lambda value: f'"{value.isoformat()}"',
    Decimal: lambda value: f'"{value.normalize():f}"',
    UUID: lambda value: f'"{value}"',
    bytes: lambda value: f'"{value.hex()}"',
    memoryview: lambda value: f'"{value.hex()}"',
}
