"""One record of every kind that an address can name, all of the stock business, for the walk over all addresses."""

from datetime import timedelta

from django.urls import get_resolver, reverse
from django.utils import timezone

from compliance.appliances.data import OutOfUseData
from compliance.limits.models import Rule
from compliance.notices.actions import open_feed
from compliance.notices.models import Notice
from compliance.plans.models import Closure
from compliance.readings.importing import import_file
from compliance.readings.importing.uploads import keep
from compliance.readings.models import CorrectiveAction, Deviation
from compliance.reminders.models import Reminder
from compliance.reminders.planning import add_appliance, take_out_of_use
from sites.actions import make_password_link
from sites.kitchen_actions import register_device
from sites.password_links import tokens
from tests.checks import making
from tests.readings.files import csv_file, row
from tests.rows import fill
from tests.world import World, make_reading

# What the argument of an address names, by the longest beginning of the address's name; arguments other than `pk` name it
# themselves.
BY_ADDRESS = {
    "account": "person",
    "appliance": "appliance",
    "area": "area",
    "boiling_check": "probe",
    "case": "case",
    "certificate_add": "probe",
    "check": "check",
    "check_paper": "probe",
    "deviation": "deviation",
    "feed_list": "site",
    "feed_revoke": "feed_key",
    "notice": "notice",
    "event_add": "probe",
    "event_void": "event",
    "device": "device",
    "import": "file",
    "import_preview": "upload",
    "limit": "limit",
    "limit_adopt_rule": "rule",
    "out_of_use": "out_of_use",
    "person": "person",
    "probe": "probe",
    "new_password": "password_link",
    "reading": "reading",
    "reminder": "reminder",
    "reminder_list": "site",
    "role": "membership",
    "role_add": "person",
    "rule": "rule",
    "site": "site",
    "today": "site",
    "zero_check": "probe",
}
BY_ARGUMENT = {
    "anchor": "case",
    "area_pk": "area",
    "check_pk": "check",
    "closure_pk": "closure",
    "limit_pk": "limit",
    "membership_pk": "membership",
    "secret": "feed_secret",
    "person_pk": "person",
    "probe_pk": "probe",
    "reading_pk": "reading",
    "site_pk": "site",
    "slug": "case",
    "token": "password_token",
}
KEYED = {"key": "key"}  # arguments that are another field of the record than its number
# Addresses that name a record in their query.
QUERIES = {
    "record_haccp": lambda records: {"site": records["site"].pk, "from": "2026-01-01", "to": "2026-01-31"},
    "record_print": lambda records: {"site": records["site"].pk, "from": "2026-01-01", "to": "2026-01-31"},
    "record_data": lambda records: {"site": records["site"].pk, "from": "2026-01-01", "to": "2026-01-31"},
    "probe_labels_print": lambda records: {"grid": "a4-21", "first": "1"},
}
# Addresses whose answer is no page.
FILES = {
    "blank_forms",
    "case_print",
    "check_print",
    "feed",
    "health",
    "import_template",
    "phone_now",
    "probe_labels_print",
    "probe_print",
    "probe_tag",
    "reading_export",
    "record_data",
    "record_haccp",
    "record_print",
    "worker",
}
HELP = "{}: say in tests/everything.py which record its argument “{}” names."


def _walk(patterns):
    for pattern in patterns:
        if hasattr(pattern, "url_patterns"):
            yield from _walk(pattern.url_patterns)
        else:
            yield pattern.name, sorted(pattern.pattern.converters)


# The name of each, and the arguments that it takes.
ADDRESSES = list(_walk(get_resolver().url_patterns))


def build() -> dict[str, object]:
    """The world, and each record by its noun. The case is a failed check's, with one reading that broke its limit; a check
    without a figure is the last of its probe."""
    world, now = World.build(), timezone.now()
    making.good(world.probe, world.cook, now - timedelta(days=9))
    reading = make_reading(world.probe, world.limit, "7.5", now - timedelta(days=5), by=world.cook)
    deviation = Deviation.objects.create(reading=reading, why="2.5 °C above the limit", recorded_by=world.cook)
    fill(CorrectiveAction, world)
    check = making.bad(world.probe, world.cook, now - timedelta(days=2))
    making.dead(world.probe, world.cook, now - timedelta(days=1.5))
    link = make_password_link(by=world.supervisor, person=world.cook)
    feed_key, feed_secret = open_feed(by=world.manager, site=world.site, label="The wall")
    appliance = add_appliance(by=world.manager, limit=world.limit, name="Dairy fridge")
    broken = add_appliance(by=world.manager, limit=world.limit, name="Bottle fridge")
    return {
        "appliance": appliance,
        "out_of_use": take_out_of_use(by=world.cook, appliance=broken, data=OutOfUseData(why="broken")),
        "device": register_device(by=world.manager, site=world.site, name="Tablet at the pass")[0],
        "world": world,
        "area": world.area,
        "site": world.site,
        "person": world.cook,
        "membership": world.cook.memberships.get(),
        "password_link": link,
        "password_token": tokens.make_token(link),
        "rule": fill(Rule, world),
        "limit": world.limit,
        "probe": world.probe,
        "check": check,
        "event": making.event(world.probe, world.cook, "dropped", now - timedelta(days=1)),
        "reading": reading,
        "deviation": deviation,
        "file": import_file(by=world.manager, file_name="old.csv", content=csv_file(row())),
        "upload": keep(by=world.supervisor, file_name="new.csv", content=csv_file(row(item="Butter"))),
        "feed_key": feed_key,
        "feed_secret": feed_secret,
        "notice": Notice.objects.create(
            kind="failed",
            person=world.supervisor,
            about="1",
            site=world.site,
            subject="Stop",
            link="/",
            in_page=True,
            state="failed",
        ),
        "case": f"check-{check.pk}",
        "closure": fill(Closure, world),
        "reminder": fill(Reminder, world),
    }


def arguments(name: str, wanted, records) -> dict:
    """The arguments of one address. Raises LookupError for one that this file does not know."""
    given = {}
    for argument in wanted:
        record = records[noun(name, argument)]
        given[argument] = record if isinstance(record, str) else getattr(record, KEYED.get(argument, "pk"))
    return given


def address(name: str, wanted, records) -> str:
    query = QUERIES.get(name, lambda records: {})(records)
    return reverse(name, kwargs=arguments(name, wanted, records), query=query or None)


def noun(name: str, argument: str) -> str:
    if argument in BY_ARGUMENT:
        return BY_ARGUMENT[argument]
    beginnings = [start for start in BY_ADDRESS if name.startswith(start)]
    if argument not in {"pk", "key"} or not beginnings:
        raise LookupError(HELP.format(name, argument))
    return BY_ADDRESS[max(beginnings, key=len)]
