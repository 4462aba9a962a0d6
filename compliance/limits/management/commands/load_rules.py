"""Take rule sets into the book, so that sites can adopt limits from them."""

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from compliance.limits.loading import SHIPPED, RuleFileError, load_rule_set, read_file
from shared.audit.trail import together


class Command(BaseCommand):
    help = "Load rule sets of critical limits (by default those that come with Noughtbook). Safe to run again."

    def add_arguments(self, parser):
        parser.add_argument("files", nargs="*", type=Path, help="Files of rules; the default is all that come with it")

    def handle(self, *, files, **options):
        try:
            with together():
                loaded = [
                    load_rule_set(by=None, content=read_file(path)) for path in files or sorted(SHIPPED.glob("*.json"))
                ]
        except RuleFileError as error:
            raise CommandError(f"Nothing was loaded. {error}") from error
        for rules in loaded:
            self.stdout.write(f"{rules.rule_set}: {rules.added} rules added, {rules.known} known already.")
            if rules.reworded:
                self.stderr.write(
                    "  The words of these differ in the file; the book keeps those it has: " + ", ".join(rules.reworded)
                )
