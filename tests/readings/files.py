"""Files of readings for tests."""

from datetime import UTC, datetime, timedelta

HEADER = "site,probe,limit,item,value,unit,taken_at,held_s,since_start_s,note,taken_by"
START = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)


def row(item="milk", value="4.0", taken_at="2026-01-05T08:00+00:00", **cells) -> str:
    told = {
        "site": "Alder School",
        "probe": "P1",
        "limit": "cold-holding",
        "unit": "C",
        "held_s": "",
        "since_start_s": "",
        "note": "",
        "taken_by": "",
    }
    told |= {"item": item, "value": value, "taken_at": taken_at} | cells
    return ",".join(told[name] for name in HEADER.split(","))


def csv_file(*rows: str, header: str = HEADER) -> bytes:
    return "\n".join([header, *rows, ""]).encode()


def many(count: int, value="4.0", **cells) -> bytes:
    times = [(START + timedelta(minutes=i)).isoformat() for i in range(count)]
    return csv_file(*(row(value=value, taken_at=at, **cells) for at in times))
