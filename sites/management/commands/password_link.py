"""A way back in for people to whom no supervisor may give a link."""

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from shared.time_text import clock_time, padded_day
from sites.actions import make_password_link
from sites.models import Person
from sites.password_links import ends_at, link_path


class Command(BaseCommand):
    help = "Make a one-time link by which a person chooses a new password, as for a supervisor whom nobody ranks above."

    def add_arguments(self, parser):
        parser.add_argument("email", help="the e-mail that the person signs in with")

    def handle(self, *, email, **options):
        person = Person.objects.filter(email=email.strip().lower()).first()
        if person is None:
            raise CommandError(f"Nobody signs in with {email}.")
        try:
            link = make_password_link(by=None, person=person)
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        ends = timezone.localtime(ends_at(link))
        until = f"{padded_day(ends)} {clock_time(ends)} {ends:%Z}"
        self.stdout.write(f"{settings.ADDRESS}{link_path(link)}")
        self.stdout.write(f"Hand it to {person} and to nobody else. It works once, until {until}.")
