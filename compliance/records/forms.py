"""Which record to print: the sites, the period and the paper."""

from datetime import date, datetime, timedelta

from django import forms
from django.utils import timezone

from shared.fields import DayField
from sites.access import sites_of
from sites.choosing import SiteField, SiteOffer
from sites.models import Area, Paper, Person, Site

from .scope import PeriodRefused, check_period

OWN = "days"
MOST = 2_000  # days of sites that a page prints at once
TOO_MANY = (
    "{sites:,} sites with {days:,} days each are {total:,} days of records, and at most {most:,} go into one file here. Take "
    "fewer days or sites, or have whoever runs Noughtbook print them with manage.py print_record, which takes any number."
)
ONE_ALONE = "The HACCP page and the data are made of one site. Choose one alone; a PDF of several has the data of each attached."
SEVERAL = ("also", "area")  # fields for whoever may print more than one site
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
    """One site; or several, or all of an area, whose records come in one file."""

    site = SiteField(empty_label=None)
    period = forms.ChoiceField(choices=list(PERIODS.items()), widget=forms.RadioSelect)
    paper = forms.ChoiceField(
        choices=[("", "As set for the site"), *Paper.choices], required=False, help_text="What lies in the printer."
    )

    def __init__(self, data=None, *, person: Person, now: datetime | None = None, **kwargs):
        if data is not None and not data.get("period"):
            data = data.copy()
            data["period"] = OWN  # an address that only names its days
        super().__init__(data, **kwargs)
        self._now, self._person = now or timezone.now(), person
        self.fields["site"].offer(SiteOffer(person), data, chosen=self.initial.get("site"))
        self._offer_more(person)
        for name, label in (("from", "First day"), ("to", "Last day")):
            self.fields[name] = DayField(label=label, required=False, help_text=f"Only for “{PERIODS[OWN]}”.")
        self.order_fields(["site", "also", "area", "period", "from", "to", "paper"])

    def _offer_more(self, person: Person) -> None:
        """Who may print several sites may have them in one file."""
        mine = SiteOffer(person).sites()
        if len(mine[:2]) < 2:
            return
        self.fields["site"].required = not (self.data and self.data.get("area"))
        areas = Area.objects.filter(sites__in=mine.order_by()).distinct().order_by("name", "pk")
        self.fields["area"] = forms.ModelChoiceField(
            areas,
            required=False,
            empty_label="No, the sites above",
            label="Or all sites of an area",
            help_text="Those that you may see. The sites above do not count then.",
        )
        if self.fields["site"].many:
            self.fields["also"] = NamedSites(
                mine, required=False, label="More sites in the same file", help_text="Their names, one a line."
            )
        else:
            self.fields["also"] = forms.ModelMultipleChoiceField(
                mine, required=False, widget=forms.CheckboxSelectMultiple, label="More sites in the same file"
            )

    @property
    def several(self) -> list[forms.BoundField]:
        return [self[name] for name in SEVERAL if name in self.fields]

    @property
    def several_chosen(self) -> bool:
        return any(field.value() or field.errors for field in self.several)

    @property
    def of_each(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in ("site", *SEVERAL)]

    def clean(self):
        given = super().clean()
        if self.errors:
            return given
        given["sites"] = sites = self._sites(given)
        choice = given["period"]
        if choice != OWN:
            self._refuse_both(choice, given)
            given["from"], given["to"] = quick_period(choice, self._today(sites))
        self._check_days(given)
        return given

    def _sites(self, given: dict) -> list[Site]:
        """In the order of their names."""
        if area := given.get("area"):
            found = sites_of(self._person).filter(area=area)
        else:
            chosen = (given["site"], *(given.get("also") or ()))
            found = sites_of(self._person).filter(pk__in={each.pk for each in chosen})
        return list(found.select_related("area__business").order_by("name", "pk"))

    def _today(self, sites: list[Site]) -> date:
        """Where the day began last."""
        return min(self._now.astimezone(site.zone).date() for site in sites)

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
            check_period(given["from"], given["to"], self._today(given["sites"]))
        except PeriodRefused as refused:
            self.add_error("to", str(refused))
            return
        days, number = (given["to"] - given["from"]).days + 1, len(given["sites"])
        if number > 1 and number * days > MOST:
            self.add_error(None, TOO_MANY.format(sites=number, days=days, total=number * days, most=MOST))

    def refuse_several(self) -> None:
        """For what is made of one site only."""
        if len(self.cleaned_data.get("sites", ())) > 1:
            self.add_error(None, ONE_ALONE)

    def first_site(self) -> Site | None:
        return self.fields["site"].queryset.first()


class NamedSites(forms.CharField):
    """Sites by their names, one a line, among those that are offered."""

    widget = forms.Textarea(attrs={"rows": 3})

    def __init__(self, sites, **kwargs):
        super().__init__(**kwargs)
        self._sites = sites

    def to_python(self, value):
        return [self._named(line.strip()) for line in (super().to_python(value) or "").splitlines() if line.strip()]

    def _named(self, name: str) -> Site:
        found = list(self._sites.filter(name__iexact=name)[:2])
        if len(found) == 1:
            return found[0]
        if found:
            raise forms.ValidationError(
                f"Several of your sites are named “{name}”. Choose it above, or print it alone."
            )
        raise forms.ValidationError(
            f"None of your sites is named “{name}”. Write the name as the list of sites has it."
        )
