"""Folds anew all facts that make checks and readings due, and compares what is stored."""

from collections import Counter

from django.core.management.base import BaseCommand, CommandError

from compliance.plans.wording import day_words
from compliance.reminders.verify import Difference, differences_of_checks, differences_of_rounds
from shared import clock


class Command(BaseCommand):
    help = "Compare what is stored of due checks and readings with what the facts say. It changes nothing."

    def handle(self, *args, **options):
        now, known, wrong = clock.now(), Counter(), 0
        for each in (*differences_of_checks(now), *differences_of_rounds(now)):
            if each.known:
                known[each.known] += 1
            else:
                wrong += 1
                self.stdout.write(told(each))
        for why, times in sorted(known.items()):
            self.stdout.write(f"Known difference, {times} times: {why}.")
        if wrong:
            raise CommandError(f"{wrong} due times differ from what the facts say. Keep this list and report it.")
        self.stdout.write(self.style.SUCCESS("What is stored of due checks and readings follows from the facts."))


def told(each: Difference) -> str:
    local = each.due.astimezone(each.site.zone)
    due = f"due {day_words(local.date())} {local:%H:%M}"
    return f"{each.site}, {each.subject}, {due}: stored: {each.stored}; by the facts: {each.folded}."
