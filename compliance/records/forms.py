"""Which record to print: the site, the period and the paper."""

from datetime import date, datetime, timedelta

from django import forms
from django.utils import timezone

from shared.fields import DayField
from sites.choosing import SiteField, SiteOffer
from sites.models import Paper, Person, Site

from .scope import PeriodRefused, check_period

OWN = "days"
PERIODS = {"week": "Last 7 days", "month": "This month", "last_month": "Last month", OWN: "From one day to another"}


def quick_period(choice: str, today: date) -> tuple[date, date]:
    """First and last day of a quick choice, on the site's calendar; none lies ahead."""
    first_of_month = today.replace(day=1)
    if choice == "week":
        return today - timedelta(days=6), today
    if choice == "month":
        return first_of_month, today
    last = first_of_month - timedelta(days=1)
    return last.replace(day=1), last


class RecordForm(forms.Form):
    site = SiteField(empty_label=None)
    period = forms.ChoiceField(choices=list(PERIODS.items()), widget=forms.RadioSelect)
    paper = forms.ChoiceField(
        choices=[("", "As set for the site"), *Paper.choices], required=False, help_text="What lies in the printer."
    )

    def __init__(self, data=None, *, person: Person, now: datetime | None = None, **kwargs):
        if data is not None and not data.get("period"):
            data = {**{name: data[name] for name in data}, "period": OWN}  # an address that only names its days
        super().__init__(data, **kwargs)
        self._now = now or timezone.now()
        self.fields["site"].offer(SiteOffer(person), data, chosen=self.initial.get("site"))
        for name, label in (("from", "First day"), ("to", "Last day")):
            self.fields[name] = DayField(label=label, required=False, help_text=f"Only for “{PERIODS[OWN]}”.")
        self.order_fields(["site", "period", "from", "to", "paper"])

    def clean(self):
        given = super().clean()
        site = given.get("site")
        if site is None or self.errors:
            return given
        choice = given["period"]
        if choice != OWN:
            self._refuse_both(choice, given)
            given["from"], given["to"] = quick_period(choice, self._now.astimezone(site.zone).date())
        self._check_days(given)
        given["paper"] = given.get("paper") or site.paper
        return given

    def _refuse_both(self, choice: str, given: dict) -> None:
        if given.get("from") or given.get("to"):
            words = f"You chose “{PERIODS[choice]}” and gave days too. Choose “{PERIODS[OWN]}”, or clear the days."
            self.add_error("period", words)

    def _check_days(self, given: dict) -> None:
        for name, which in (("from", "first"), ("to", "last")):
            if given.get(name) is None:
                self.add_error(name, f"Give the {which} day of the period, or choose one of the periods above.")
        if self.errors:
            return
        try:
            check_period(given["from"], given["to"], self._now.astimezone(given["site"].zone).date())
        except PeriodRefused as refused:
            self.add_error("to", str(refused))

    def first_site(self) -> Site | None:
        return self.fields["site"].queryset.first()
