from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from compliance.overview.demo.load import load_demo
from compliance.overview.demo.scenario import DAYS, FEWEST_DAYS, days_of_demo
from compliance.overview.demo.setting import PASSWORD, SIGN_INS
from sites.models import Business


class Command(BaseCommand):
    help = "Load the demo: an invented business with half a year of checks and readings, into an empty database."

    def add_arguments(self, parser):
        fewer = f"fewer days than half a year, {FEWEST_DAYS} at least"
        parser.add_argument("--days", type=days_of_demo, default=DAYS, metavar="DAYS", help=fewer)

    def handle(self, *args, days: int, **options):
        if Business.objects.exists():
            raise CommandError(
                "This database already holds a business. Load the demo into an empty one: set NOUGHTBOOK_DATA or "
                "DATABASE_URL to another place, or remove the old database yourself."
            )
        load_demo(timezone.now(), days)
        self.stdout.write(self.style.SUCCESS("The demo is loaded. Sign in as"))
        for role, email in SIGN_INS.items():
            self.stdout.write(f"  {role:<12}{email}   password {PASSWORD}")
