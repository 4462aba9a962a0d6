"""The printed record of one or several sites and a period, from the command line."""

import contextlib
import os
import tempfile
from argparse import ArgumentParser
from datetime import date
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from compliance.records.asked import RecordRequest
from compliance.records.scope import PeriodRefused
from compliance.records.several import write_records
from shared.bounds import number_in
from sites.access import sites_of
from sites.models import Area, Paper, Person, Site


class Command(BaseCommand):
    help = "Print the record of one or several sites and a period as one PDF."

    def add_arguments(self, parser: ArgumentParser) -> None:
        which = parser.add_mutually_exclusive_group(required=True)
        which.add_argument(
            "--site", action="append", help="name or number of the site; once for each where there are several"
        )
        which.add_argument("--area", help="name or number of an area: all sites of it that the person may read")
        parser.add_argument("--from", required=True, dest="first", type=str, help="first day, such as 2026-03-01")
        parser.add_argument("--to", required=True, dest="last", type=str, help="last day, such as 2026-03-31")
        parser.add_argument(
            "--paper", choices=Paper.values, help="paper; that of the (first) site where it is left out"
        )
        parser.add_argument(
            "--by", required=True, metavar="EMAIL", help="whose name is printed; must be able to read the sites"
        )
        parser.add_argument("--out", required=True, type=Path, help="the file to write, such as record.pdf")

    def handle(self, *, site, area, by, out, **given):
        person = find_person(by)
        sites = sites_in(person, area) if area else [find_site(person, each) for each in site]
        asked = RecordRequest(
            sites=sorted(set(sites), key=lambda each: (each.name, each.pk)),
            first=as_day(given["first"]),
            last=as_day(given["last"]),
            paper=given["paper"] or "",
            printed_by=person.name,
            now=timezone.now(),
        )
        try:
            scopes = [asked.scope(each) for each in asked.sites]
        except PeriodRefused as refused:
            raise CommandError(str(refused)) from None
        save(asked, out)
        whose = str(sites[0]) if len(scopes) == 1 else f"{len(scopes)} sites"
        self.stdout.write(self.style.SUCCESS(f"Wrote the record of {whose}, {scopes[0].period}, to {out}"))


def find_person(email: str) -> Person:
    person = Person.objects.filter(email__iexact=email.strip(), is_active=True).first()
    if person is None:
        raise CommandError(f"Nobody signs in as {email}. Give the e-mail address of somebody who may read the site.")
    return person


def find_site(person: Person, asked: str) -> Site:
    """The site by its number or its name, among those that the person may read."""
    mine = sites_of(person).select_related("area__business")
    named = list(mine.filter(name__iexact=asked.strip()))
    if not named and number_in(asked.strip()):
        named = list(mine.filter(pk=number_in(asked.strip())))
    if len(named) > 1:
        choices = "; ".join(f"{site.pk} in {site.area}" for site in named)
        raise CommandError(f"{person} can read {len(named)} sites named {asked}. Give its number instead: {choices}.")
    if not named:
        known = ", ".join(f"{site} ({site.pk})" for site in mine.order_by("name")[:20]) or "none"
        raise CommandError(f"{person} can read no site {asked!r}. Those that {person} can read: {known}.")
    return named[0]


def sites_in(person: Person, asked: str) -> list[Site]:
    """The sites of an area, given by its name or number, that the person may read."""
    mine = sites_of(person).select_related("area__business")
    areas = Area.objects.filter(sites__in=mine).distinct()
    found = list(areas.filter(name__iexact=asked.strip()))
    if not found and number_in(asked.strip()):
        found = list(areas.filter(pk=number_in(asked.strip())))
    if len(found) == 1:
        return list(mine.filter(area=found[0]))
    known = ", ".join(f"{area} ({area.pk})" for area in (found or areas.order_by("name")[:20])) or "none"
    raise CommandError(f"{person} can read no sites of one area {asked!r}. Give one of these, by its number: {known}.")


def as_day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"{text!r} is not a day. Write it as year, month and day: 2026-03-01.") from None


def save(asked: RecordRequest, out: Path) -> None:
    """Write beside the file and put it in its place at the end, so that a failure leaves no half a record."""
    try:
        handle, half = tempfile.mkstemp(dir=out.parent, prefix=f".{out.name}.", suffix=".part")
    except OSError as error:
        raise CommandError(f"Cannot write to {out.parent}: {error.strerror}. Give another file with --out.") from None
    try:
        with os.fdopen(handle, "wb") as file:
            write_records(file, asked)
        os.chmod(half, 0o644)
        os.replace(half, out)
    except OSError as error:
        raise CommandError(f"Cannot write {out}: {error.strerror}. Give another file with --out.") from None
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(half)
