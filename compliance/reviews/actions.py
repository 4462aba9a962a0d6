"""Signing the records of some days of a site."""

from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ValidationError

from compliance.plans.calendar import DAY, local_day
from compliance.plans.pace import lock_sites
from compliance.plans.wording import span_words
from shared import clock
from shared.audit.chain import newest_of
from shared.audit.trail import action, note
from shared.reasons import as_reason
from sites.models import Person, Site

from .days import last_reviews, site_day
from .facts import FactsOfDay, facts_of, makers_of
from .models import WORDS, Meaning, Review

MOST_DAYS = 7
MADE_BY_THEM = (
    "Who made records of these days cannot review them: you made some of the {}. Ask another manager or supervisor."
)
CAME_MEANWHILE = "Records of these days have come in since this page was opened. Read the sheet again, then sign."
WHAT_IS_WRONG = "Say what has to be put right before the records can be accepted."


@dataclass(frozen=True, slots=True, kw_only=True)
class ReviewData:
    """`after`: how many records the sheet showed."""

    first: date
    last: date
    meaning: str
    remarks: str = ""
    after: int | None = None

    @property
    def days(self) -> list[date]:
        return [self.first + DAY * n for n in range((self.last - self.first).days + 1)]


@action("review.sign")
def sign_review(*, by: Person, site: Site, data: ReviewData) -> Review:
    """Keeps what the signature rests on. Raises ValidationError where a day is not over, nothing is there to read, records came
    in since the sheet was shown, `by` made some of them, or has signed the same already."""
    lock_sites([site.pk])
    _refuse_days(site, data)
    here = [site_day(site, day) for day in data.days]
    facts = {day: each for (_, day), each in facts_of(here).items()}
    _refuse_unread(facts, data)
    if mine := makers_of(here).get(by.pk):
        raise ValidationError(MADE_BY_THEM.format(", ".join(mine)))
    remarks = as_reason(data.remarks, "remarks", ask=WHAT_IS_WRONG if data.meaning == Meaning.SENT_BACK else "")
    rests_on = {day.isoformat(): each.count for day, each in facts.items()}
    _refuse_again(by, site, data, rests_on, remarks)
    head = newest_of(site.area.business_id)
    review = Review.objects.create(
        recorded_by=by,
        site=site,
        first_day=data.first,
        last_day=data.last,
        meaning=data.meaning,
        words=WORDS[Meaning(data.meaning)],
        remarks=remarks,
        rests_on=rests_on,
        entry_number=head.number if head else 0,
        entry_hash=head.hash if head else "",
    )
    note("review.sign", by=by, subject=review, site_id=site.pk, reason=remarks, meaning=data.meaning, rests_on=rests_on)
    return review


def _refuse_days(site: Site, data: ReviewData) -> None:
    if not 0 < len(data.days) <= MOST_DAYS:
        raise ValidationError(f"Review one day, or up to {MOST_DAYS} days together.")
    if data.last >= local_day(clock.now(), site.zone):
        raise ValidationError(f"{span_words(data.last, data.last)} is not over yet. Review it from the next day on.")


def _refuse_unread(facts: dict[date, FactsOfDay], data: ReviewData) -> None:
    if not any(facts.values()):
        raise ValidationError("Nothing was recorded and nothing was due, so there is nothing to review.")
    if data.after is not None and data.after != sum(each.count for each in facts.values()):
        raise ValidationError(CAME_MEANWHILE)


def _refuse_again(by: Person, site: Site, data: ReviewData, rests_on: dict, remarks: str) -> None:
    """A form that is sent twice signs once."""
    last = {review.pk: review for review in last_reviews({site.pk: data.days}).values()}
    said = (by.pk, data.first, data.last, data.meaning, remarks, rests_on)
    for each in last.values():
        if said == (each.recorded_by_id, each.first_day, each.last_day, each.meaning, each.remarks, each.rests_on):
            raise ValidationError("You have signed this already, and nothing has changed since.")
