"""One command from a fresh installation to a page in the browser."""

import signal
import sys
from argparse import ArgumentParser
from io import StringIO

from django.conf import settings
from django.core.checks import Tags
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.servers.basehttp import get_internal_wsgi_application
from django.db import connection
from waitress import create_server
from waitress.channel import HTTPChannel

from compliance.overview.demo.scenario import DAYS, days_of_demo
from compliance.overview.demo.setting import PASSWORD, SIGN_INS
from compliance.service import task_runs
from compliance.service.bodies import MOST_TYPED, Parser
from compliance.service.health import minute
from compliance.service.serving import HERE, link_to, served_at, tasks_here
from compliance.service.startup_lock import startup_lock
from shared.audit.upkeep import UPKEEP
from shared.grants import may_change_tables
from shared.versions import all_recorded, refuse_newer, refuse_older
from sites.models import Business, Person

WHO = {
    "manager": "site manager",
    "supervisor": "area supervisor",
    "head": "head of all areas",
    "reader": "read-only reader",
}
FOUND = "There is no business yet. Found yours in another window: python manage.py found_business"
KNOWN = "The demo's password is public. Serve it on this machine only; stop these people's signing in before others reach it."
STRANGE_HOST = (
    "Requests for “{host}” will be refused: add it to NOUGHTBOOK_HOSTS, for example NOUGHTBOOK_HOSTS=localhost,{host}"
)
ELSEWHERE = """With REDIS_URL this process serves pages only; workers and a schedule of their own do the rest.
Until both of these run, on this machine or another, nobody is reminded and no mail is sent:
  celery -A compliance worker
  celery -A compliance beat"""
# The server drops what a proxy tells of the visitor unless it is to be trusted.
PROXY = {"trusted_proxy": "*", "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"}}
BEHIND = PROXY if settings.BEHIND_HTTPS else {}
# What is typed stays in memory, and only a file that somebody may send goes to the disk.
BODIES = {"max_request_body_size": MOST_TYPED, "inbuf_overflow": 2 * MOST_TYPED}
# Seconds after which a thread that computes lets another go on. A page steps back at every statement, and a task or a file that
# is worked out beside it would have it wait for so long each time. Python's usual 0.005 s is too long for that.
TURN = 0.0005


def stop_once(number, frame):
    """Stop as Ctrl+C does, finishing what is in hand; being asked again changes nothing."""
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    raise KeyboardInterrupt


class Command(BaseCommand):
    help = "Bring the database up to date, load the rules, and serve Noughtbook. With --demo, fill an empty database."
    requires_system_checks = (
        "noughtbook",
        Tags.urls,
    )  # the others are of code; the second loads every page before it is served

    def add_arguments(self, parser: ArgumentParser) -> None:
        filled = (
            "fill an empty database with an invented half-year, or with fewer DAYS (60 at least), which is made sooner"
        )
        parser.add_argument("--demo", nargs="?", type=days_of_demo, const=DAYS, metavar="DAYS", help=filled)
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (this machine only by default)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on; 0 takes any free one")

    def handle(self, *, demo: int | None, host: str, port: int, **options) -> None:
        server = self._listen(host, port)
        with startup_lock():  # or two that are started at once would both make the tables
            self._make_ready(demo)
        self._application = get_internal_wsgi_application()  # which wants the tables as they are by now
        sockets = getattr(server, "effective_listen", None) or [(host, server.effective_port)]
        address = served_at(host, sockets[0][1])
        link_to(address)
        self._tell(host, address)
        signal.signal(signal.SIGTERM, stop_once)
        sys.setswitchinterval(TURN)
        try:
            with tasks_here() as here:
                if not here:
                    self._tell_who_is_missing()
                server.run()
        finally:
            server.close()

    def _make_ready(self, demo: int | None) -> None:
        if not all_recorded():
            self._bring_up_to_date()
        elif may_change_tables(connection):
            for act in UPKEEP:
                act(using="default")
        call_command("load_rules", stdout=StringIO())
        if demo and not Business.objects.exists():
            self.stdout.write(f"Making the demo: {demo} days of twelve invented kitchens. This takes up to a minute.")
            call_command("load_demo", days=demo, stdout=StringIO())  # whose closing words are said below

    def _bring_up_to_date(self) -> None:
        refuse_newer()
        if may_change_tables(connection):
            call_command("migrate", verbosity=0, interactive=False)
        refuse_older()

    def _listen(self, host: str, port: int):
        """Before anything else, so that a port in use is said at once and not after a minute."""
        try:
            threads = settings.PAGES_AT_ONCE + 1
            HTTPChannel.parser_class = Parser
            return create_server(self._answer, host=host, port=port, ident=None, threads=threads, **BODIES, **BEHIND)
        except (OSError, ValueError) as refused:
            raise CommandError(
                f"Cannot listen on {host}, port {port}: {refused}. Choose another with --port."
            ) from None

    def _answer(self, environ, start_response):
        return self._application(environ, start_response)

    def _tell(self, host: str, address: str) -> None:
        emails = set(Person.objects.filter(email__in=SIGN_INS.values()).values_list("email", flat=True))
        if host not in HERE and not {host, "*"} & set(settings.ALLOWED_HOSTS):
            self.stderr.write(STRANGE_HOST.format(host=host))
        if emails and host not in HERE:
            self.stderr.write(KNOWN)
        if not Business.objects.exists():
            self.stdout.write(FOUND)
        for role, email in SIGN_INS.items():
            if email in emails:
                self.stdout.write(f"  {WHO[role]:<17} {email:<32} {PASSWORD}")
        self.stdout.write(f"Noughtbook is at {address}/ (Ctrl+C stops it)")
        self.stdout.flush()

    def _tell_who_is_missing(self) -> None:
        tasks = minute(task_runs.ages())
        if not tasks.well:
            self.stderr.write(f"{ELSEWHERE}\n(The tasks of each minute: {tasks.says}.)")
