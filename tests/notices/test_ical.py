"""The calendar feed: its bytes held against RFC 5545 and RFC 7986, and read back with the library."""

import re
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

from icalendar import Calendar

from compliance.notices.ical import CalendarEntry, calendar

NAMESPACE = UUID("5f0f4a5e-6b3b-4b6a-9a53-0d1d4c4b3f10")
NINE = datetime(2026, 3, 18, 9, 0, tzinfo=UTC)


def due(**changes):
    told = {
        "key": "check-7-20260318T090000",
        "what": "Check probe P1",
        "kind": "Check",
        "due_at": NINE,
        "due_day": NINE.date(),
        "says": "Due 18 Mar 2026 09:00 GMT; " + "long, " * 30 + "\nand on two lines.",
        "url": "https://a.example/x/?a=1&b=2",
        "revised": datetime(2026, 3, 11, 12, 0, 0, 5, tzinfo=UTC),
        **changes,
    }
    return CalendarEntry(**told)


def made(*entries, site="Alder; School", namespace=NAMESPACE):
    return calendar(site, 3, "Europe/London", namespace, entries)


def lines_of(content):
    return content.replace(b"\r\n ", b"").decode().split("\r\n")


def event_of(*entries):
    return Calendar.from_ical(made(*entries)).events[0]


def test_the_lines_are_as_rfc_5545_has_them():
    content = made(due(says="“é” " * 60))
    lines = content.split(b"\r\n")
    assert content.startswith(b"BEGIN:VCALENDAR\r\n") and content.endswith(b"END:VCALENDAR\r\n")  # 3.4
    assert b"\n" not in b"".join(lines) and b"\r" not in b"".join(lines)  # 3.1: lines end in CRLF
    assert any(line.startswith(b" ") for line in lines)
    assert all(len(line) <= 75 for line in lines)  # 3.1: and are folded at 75 octets
    assert "“é” “é”" in "\n".join(lines_of(content))  # 3.1.4: UTF-8, whole again when it is unfolded


def test_the_calendar_has_what_it_must_have_and_nothing_twice():
    lines = lines_of(made(due(), due(key="other")))
    head = lines[: lines.index("BEGIN:VEVENT")]
    for name, section in [("PRODID", "3.7.3"), ("VERSION", "3.7.4"), ("UID", "7986 5.3"), ("NAME", "7986 5.1")]:
        assert sum(line.startswith(f"{name}:") for line in head) == 1, section
    assert "VERSION:2.0" in head
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H" in head  # RFC 7986, 5.7
    assert not any(line.startswith("METHOD") for line in lines)  # RFC 5546, 3.2.1: PUBLISH would need an ORGANIZER


def test_an_event_has_what_it_must_have_each_once_and_escaped():
    lines = lines_of(made(due()))
    event = lines[lines.index("BEGIN:VEVENT") + 1 : lines.index("END:VEVENT")]
    names = [re.split("[:;]", line)[0] for line in event]
    assert len(names) == len(set(names))  # 3.6.1: each of these at most once
    assert {"UID", "DTSTAMP", "DTSTART"} <= set(names)  # 3.6.1: required; DTSTART where there is no METHOD
    assert not {"DTEND"} & set(names)  # 3.6.1: not beside DURATION
    assert "DTSTAMP:20260311T120000Z" in event  # 3.8.7.2: when it was last revised, in UTC
    assert "DTSTART:20260318T090000Z" in event  # 3.3.5, form 2
    assert "DURATION:PT15M" in event  # 3.3.6
    assert "SEQUENCE:0" in event  # 3.8.7.4
    assert "STATUS:CONFIRMED" in event  # 3.8.1.11
    assert "TRANSP:TRANSPARENT" in event  # 3.8.2.7: nobody is busy by it
    assert "SUMMARY:Check probe P1\\, Alder\\; School" in event  # 3.3.11: escaped
    assert any("\\nand on two lines." in line for line in event)  # 3.3.11
    assert "URL:https://a.example/x/?a=1&b=2" in event  # 3.3.13: a URI is not escaped
    assert "CATEGORIES:Check" in event  # 3.8.1.2


def test_an_uid_is_a_uuid_of_this_installation_and_stays(monkeypatch):
    """RFC 7986, 5.3: a UUID, and no name of a host."""
    uid = str(event_of(due())["UID"])
    assert str(UUID(uid)) == uid
    later = due(what="Check probe P1B", revised=NINE)
    assert str(event_of(later)["UID"]) == uid
    elsewhere = Calendar.from_ical(made(due(), namespace=uuid4())).events[0]
    assert str(elsewhere["UID"]) != uid != str(event_of(due(key="check-7-20260325T090000"))["UID"])


def test_what_is_overdue_is_the_same_event_revised_and_goes_along_from_day_to_day():
    first = event_of(due())
    late = [event_of(due(late=date(2026, 3, day))) for day in (18, 19, 25)]
    assert {str(event["UID"]) for event in late} == {str(first["UID"])}
    assert [event["DTSTART"].to_ical() for event in late] == [b"20260318", b"20260319", b"20260325"]
    assert late[0]["DTSTART"].params["VALUE"] == "DATE"  # 3.3.4; and so one day long (3.6.1)
    assert "DURATION" not in late[0]
    assert [first["SEQUENCE"], *(event["SEQUENCE"] for event in late)] == [
        0,
        1,
        2,
        8,
    ]  # 3.8.7.4: never less than before
    assert str(late[0]["SUMMARY"]).startswith("Overdue: Check probe P1")


def test_what_depends_on_what_is_done_before_is_tentative():
    assert str(event_of(due(tentative=True))["STATUS"]) == "TENTATIVE"  # 3.8.1.11


def test_where_nothing_is_due_it_is_a_calendar_all_the_same():
    """3.4 and 3.6: at least one component."""
    found = Calendar.from_ical(made())
    assert found.events == []
    assert [part.name for part in found.subcomponents] == ["VTIMEZONE"]


def test_the_same_is_due_at_the_same_bytes():
    assert made(due()) == made(due())
