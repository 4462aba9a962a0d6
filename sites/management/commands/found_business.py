"""The first business, its first area and its supervisor, so that somebody can sign in."""

import getpass
import sys

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from sites.actions import found_business
from sites.data import NewPerson
from sites.models import Person

ASKED = (
    ("business", "Name of the business, as records print it"),
    ("area", "Name of its first area"),
    ("name", "Full name of the area's supervisor"),
    ("email", "E-mail that the supervisor signs in with"),
)


class Command(BaseCommand):
    help = "Found a business with one area and its supervisor. Asks for what the options leave out."

    def add_arguments(self, parser):
        for name, words in ASKED:
            parser.add_argument(f"--{name}", default="", help=words)
        parser.add_argument(
            "--initials", default="", help="Initials of the supervisor (the default comes from the name)"
        )
        parser.add_argument(
            "--password-stdin", action="store_true", help="Read the password from the first line of standard input"
        )
        parser.add_argument("--no-input", action="store_true", help="Ask nothing; fail where something is left out")

    def handle(self, *, no_input, password_stdin, initials, **options):
        asks = not no_input and not password_stdin
        given = {name: options[name].strip() or self._asked(name, words, asks) for name, words in ASKED}
        initials = initials.strip() or "".join(part[0] for part in given["name"].split())[:6].upper()
        password = self._password(asks, password_stdin)
        try:
            head = NewPerson(name=given["name"], email=given["email"], initials=initials, password=password)
            validate_password(password, Person(name=head.name, email=head.email))
            business, area, person = found_business(
                by=None, business=given["business"], area=given["area"], supervisor=head
            )
        except ValidationError as refused:
            raise CommandError("Nothing was written. " + " ".join(refused.messages)) from refused
        self.stdout.write(f"{business} is founded. {person} supervises {area} and signs in as {person.email}.")
        self.stdout.write("Next: sign in; the first page leads on, from the first site to the first check.")
        self.stdout.write("The rules it offers are loaded by `manage.py start`, or by: python manage.py load_rules")

    def _asked(self, name: str, words: str, asks: bool) -> str:
        if not asks:
            raise CommandError(f"Give --{name}: {words}.")
        while not (answer := input(f"{words}: ").strip()):
            self.stderr.write("Please type something.")
        return answer

    def _password(self, asks: bool, from_stdin: bool) -> str:
        """There is no default password, and none on the command line, where other people of the machine could read it."""
        if from_stdin:
            return sys.stdin.readline().rstrip("\r\n")
        if not asks:
            raise CommandError("Give --password-stdin and write the password to standard input.")
        while True:
            password = getpass.getpass("Password (at least ten characters): ")
            if password == getpass.getpass("The same again: "):
                return password
            self.stderr.write("The two are not the same.")
