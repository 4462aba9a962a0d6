"""The trail in words: what each action did, in which part of the record, and where the record that it was about is shown."""

from sites.addresses import address

ACTS = {
    "advice.accept": "followed the advice on how often to check",
    "appliance.add": "added the appliance",
    "appliance.amend": "changed the appliance",
    "appliance.back_in_use": "put it back in use",
    "appliance.out_of_use": "took it out of use",
    "appliance.void_out_of_use": "struck out that it was out of use",
    "area.add": "added the area",
    "area.amend": "changed the area",
    "business.add": "added the business",
    "business.amend": "changed what is set for the business",
    "business.found": "founded the business",
    "business.restore": "restored a backup",
    "case.decide": "decided on readings in quarantine",
    "case.sign": "signed the case",
    "check.correct": "recorded it as a correction",
    "check.record": "recorded the check",
    "check.record_unfinished": "kept a check that was left unfinished",
    "check.replaced": "replaced it with a correction",
    "check.void": "struck the check out",
    "closure.add": "entered days on which it is closed",
    "closure.void": "struck out days on which it was closed",
    "deviation.act": "recorded what was done",
    "deviation.offer": "changed what is offered where a limit is not met",
    "device.register": "registered a device that is shared",
    "device.revoke": "ended a device that is shared",
    "event.record": "recorded what happened to the probe",
    "event.void": "struck out what happened to the probe",
    "limit.add": "added a limit of its own",
    "limit.adopt": "adopted the limit",
    "limit.change": "changed the limit",
    "limit.retire": "gave the limit up",
    "limits.adopt": "adopted limits",
    "opening.set": "set the opening hours",
    "person.add": "added the person",
    "person.amend": "changed the e-mail",
    "person.invite": "invited the person",
    "person.rename": "changed the name",
    "person.restart": "let the person sign in again",
    "person.stop": "stopped the person from signing in",
    "plan.set": "set the plan of checks",
    "probe.amend": "changed the probe",
    "probe.move": "moved the probe",
    "probe.register": "took the probe into the book",
    "reading.correct": "recorded it as a correction",
    "reading.import": "brought in readings with a file",
    "reading.record": "recorded the reading",
    "reading.replaced": "replaced it with a correction",
    "reading.void": "struck the reading out",
    "record.seal": "sealed what was there before",
    "reminder.excuse": "excused what was missed",
    "reminder.excuse_closed": "excused what fell on closed days",
    "reminder.void_excuse": "struck the excuse out",
    "review.sign": "reviewed the records of days",
    "role.grant": "gave a role",
    "role.revoke": "took a role away",
    "round.set": "set the round of readings",
    "rules.load": "loaded rules",
    "site.add": "added the site",
    "site.amend": "changed what is set for the site",
}
# Of an account and its mail, and no change to the record.
PRIVATE = (
    "person.sign_in",
    "person.password",
    "person.password_link",
    "person.password_by_link",
    "person.pin",
    "person.pin_sign_in",
    "notice.choose",
    "notice.send_again",
    "feed.open",
    "feed.revoke",
)
# The work of each day; whatever else is done changes the record or how it is kept.
DAILY = ("reading.record", "check.record", "deviation.act")
PARTS = {
    "reading": "Readings",
    "deviation": "Deviations",
    "check": "Checks",
    "event": "What happened to probes",
    "case": "Quarantine",
    "reminder": "What was missed",
    "review": "Reviews",
    "probe": "Probes",
    "appliance": "Appliances",
    "limit": "Limits",
    "plan": "Plans of checks",
    "round": "Rounds of readings",
    "person": "People",
    "role": "Roles",
    "site": "Sites",
}
CODES = {
    "R": "readings.reading",
    "D": "readings.deviation",
    "C": "checks.check",
    "E": "probes.event",
}
PAGES = {
    "readings.reading": "reading_detail",
    "readings.deviation": "deviation_detail",
    "readings.import": "import_detail",
    "checks.check": "check_detail",
    "probes.probe": "probe_detail",
}


def _refused(data: dict) -> str:
    number, lines = data.get("refused", 0), data.get("refused_lines", [])
    if not number:
        return f"{data.get('rows', 0):,} rows, none refused"
    return f"{data['rows']:,} rows, {number:,} refused{f' ({lines_in_words(lines, number)})' if lines else ''}"


def lines_in_words(lines: list[int], number: int) -> str:
    """Such as “lines 3, 7 and 2 more”."""
    more = f" and {number - len(lines):,} more" if number > len(lines) else ""
    return f"{'line' if number == 1 else 'lines'} {', '.join(map(str, lines))}{more}"


def act_of(entry) -> str:
    return ACTS.get(entry.action, entry.action)


def page_of(entry) -> str | None:
    """Where the record is shown that an entry is about; none for one that has no page of its own."""
    return address(PAGES[entry.subject_type], entry.subject_id) if entry.subject_type in PAGES else None


def record_of(entry) -> str:
    """Such as “R12 milk 4.0 °C”; of a file also its digest, and which lines were refused."""
    if entry.action == "reading.import":
        return f"{entry.subject}, SHA-256 {entry.data.get('digest')}: {_refused(entry.data)}"
    code = next((f"{letter}{entry.subject_id} " for letter, kind in CODES.items() if kind == entry.subject_type), "")
    return f"{code}{entry.subject}"
