"""Asking for a record: who may, for which days, in the browser and on the command line."""

from datetime import date

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from compliance.records.asked import RecordRequest
from compliance.records.forms import RecordForm, quick_period
from compliance.records.management.commands.print_record import find_site
from sites.models import Membership, Role, Site
from tests.printed_text import words_of, words_on

PERIOD = {"from": "2026-03-01", "to": "2026-03-10"}


@pytest.fixture
def ask(clock, as_person, site):
    """Ask for a record as somebody; says what came back."""

    def get(person, **given):
        return as_person(person).get(reverse("record_print"), {"site": site.pk, **given})

    return get


def asked(site, **given) -> RecordRequest:
    day, now = date(2026, 3, 1), timezone.now()
    return RecordRequest(sites=[site], first=day, last=day, printed_by="Rue Danby", now=now, **given)


def form_of(person, site, **given) -> RecordForm:
    return RecordForm({"site": site.pk, **given}, person=person)


def test_a_reader_gets_the_record_to_look_at_in_the_browser(clock, as_person, reader, site, tmp_path):
    """On the paper that they chose; and nothing is written by printing."""
    client, asked_for = as_person(reader), {"site": site.pk, "paper": "Letter", **PERIOD}
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(reverse("record_print"), asked_for)
    assert not [q["sql"] for q in queries if q["sql"].lstrip()[:6].upper() in ("INSERT", "UPDATE", "DELETE")]
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "application/pdf"
    assert (
        answer.headers["Content-Disposition"] == 'inline; filename="record-alder-school-2026-03-01-to-2026-03-10.pdf"'
    )
    (tmp_path / "record.pdf").write_bytes(b"".join(answer.streaming_content))
    page = PdfReader(tmp_path / "record.pdf").pages[0]
    assert round(page.mediabox.width) == 612
    assert "Printed by Rue Danby, 11 Mar 2026 12:00 GMT" in words_on(page)


def test_a_site_whose_name_has_no_plain_letters_still_gives_a_plain_file_name():
    assert asked(Site(pk=7, name="食堂")).file_name == "record-site-7-2026-03-01-to-2026-03-01"


@pytest.mark.parametrize("who", ["stranger", "nobody"])
def test_a_stranger_finds_no_record(ask, world, who):
    person = (
        world.stranger
        if who == "stranger"
        else Membership.objects.create(person=world.stranger, role=Role.READER, site=world.far_site).person
    )
    assert ask(person, **PERIOD).status_code == 404


@pytest.mark.parametrize(
    "site, status", [("", 400), ("abc", 404), ("0", 404), ("²", 404), ("9" * 30, 404), ("-1", 404)]
)
def test_a_site_that_is_none_is_not_found_and_where_none_is_chosen_it_is_asked_for(
    clock, as_person, world, site, status
):
    assert as_person(world.reader).get(reverse("record_print"), {"site": site, **PERIOD}).status_code == status


def test_a_role_at_one_site_opens_no_other(clock, as_person, world):
    answer = as_person(world.reader).get(reverse("record_print"), {"site": world.other_site.pk, **PERIOD})
    assert answer.status_code == 404


def test_a_record_is_only_ever_asked_for_not_posted(clock, as_person, reader):
    assert as_person(reader).post(reverse("record_print"), PERIOD).status_code == 405


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"from": "2026-03-10", "to": "2026-03-01"}, "The period ends before it begins."),
        ({"from": "1066-01-01", "to": "2026-03-01"}, "That is before 1990. Look at the year"),
        ({"from": "2026-03-01", "to": "9999-12-31"}, "That is after 2100. Look at the year"),
        ({"to": "2026-03-01"}, "Give the first day of the period"),
        ({"from": "soon", "to": "2026-03-01"}, "Enter a valid date."),
        ({"period": "ever"}, "Select a valid choice."),
        ({"period": "week", **PERIOD}, "You chose “Last 7 days” and gave days too."),
        ({**PERIOD, "paper": "A3"}, "Select a valid choice."),
    ],
)
def test_a_period_that_cannot_be_is_explained_on_the_form(ask, reader, given, words):
    answer = ask(reader, **given)
    assert answer.status_code == 400
    assert words in answer.content.decode()


@pytest.mark.parametrize("today", [date(2026, 3, 1), date(2026, 3, 31), date(2024, 2, 29), date(2026, 1, 1)])
def test_quick_choices_are_whole_days_up_to_today(today):
    week, month, last = (quick_period(choice, today) for choice in ("week", "month", "last_month"))
    assert (week[1] - week[0]).days == 6 and week[1] == today
    assert month == (today.replace(day=1), today)
    assert last[0].day == 1 and (month[0] - last[1]).days == 1


def test_a_quick_choice_goes_by_the_day_at_the_site(reader, site, clock):
    Site.objects.filter(pk=site.pk).update(time_zone="Pacific/Auckland")
    clock.move_to("2026-03-31T18:00:00+00:00")  # already April there
    form = form_of(reader, site, period="month")
    assert form.is_valid() and form.cleaned_data["from"] == form.cleaned_data["to"] == date(2026, 4, 1)


def test_the_paper_is_that_of_the_site_unless_chosen(clock, site):
    site.paper = "Letter"
    assert [asked(site, paper=paper).scope(site).paper for paper in ("", "A4")] == ["Letter", "A4"]


def test_the_form_offers_only_my_sites(clock, as_person, reader):
    page = as_person(reader).get(reverse("record_form")).content.decode()
    assert "Alder School" in page and "Birch House" not in page and "Last month" in page


def test_somebody_without_a_site_is_told_so(clock, as_person, world):
    Membership.objects.filter(person=world.reader).delete()
    assert "You have no role at a site yet." in as_person(world.reader).get(reverse("record_form")).content.decode()


def command(tmp_path, **changes):
    given = {
        "site": "alder school",
        "from": "2026-03-01",
        "to": "2026-03-10",
        "by": "rue.danby@example.test",
        **changes,
    }
    given.setdefault("out", str(tmp_path / "record.pdf"))
    call_command("print_record", *[f"--{name}={value}" for name, value in given.items()], verbosity=0)


def test_the_command_writes_the_same_record(clock, world, tmp_path, capsys):
    command(tmp_path, paper="Letter")
    reader = PdfReader(tmp_path / "record.pdf")
    assert round(reader.pages[0].mediabox.width) == 612
    assert "1 Mar 2026 to 10 Mar 2026" in words_of(reader)
    assert [path.name for path in tmp_path.iterdir()] == ["record.pdf"]
    assert "Wrote the record of Alder School" in capsys.readouterr().out


def test_the_command_takes_the_number_of_a_site(world):
    assert find_site(world.reader, str(world.site.pk)) == world.site


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"site": "Nowhere"}, "Those that Rue Danby can read: Alder School"),
        ({"site": "Birch House"}, "can read no site 'Birch House'"),
        ({"from": "1 March"}, "'1 March' is not a day. Write it as year, month and day: 2026-03-01."),
        ({"to": "2026-02-01"}, "The period ends before it begins."),
        ({"by": "who@example.test"}, "Nobody signs in as who@example.test."),
        ({"out": "/no/such/folder/record.pdf"}, "Give another file with --out."),
    ],
)
def test_the_command_says_what_to_do_instead(clock, world, tmp_path, changes, words):
    with pytest.raises(CommandError) as refused:
        command(tmp_path, **changes)
    assert words in str(refused.value)
    assert list(tmp_path.iterdir()) == []


def test_the_command_asks_which_of_two_sites_is_meant(clock, world, tmp_path):
    Site.objects.filter(pk=world.far_site.pk).update(name="Alder School")
    Membership.objects.create(person=world.reader, role=Role.READER, site=world.far_site)
    with pytest.raises(CommandError, match=f"{world.far_site.pk} in South"):
        command(tmp_path)


@pytest.mark.parametrize(
    "days",
    [
        {"from": "2026-03-01", "to": "2026-03-12"},
        {"from": "2026-03-12", "to": "2026-03-12"},
        {"from": "2027-01-01", "to": "2027-01-31"},
    ],
)
def test_a_period_that_lies_ahead_is_refused_and_the_last_day_possible_is_named(ask, reader, site, days, tmp_path):
    told = "has not come yet, and nothing can be said of it. The last day possible is today, 11 March 2026."
    answer = ask(reader, **days)
    assert answer.status_code == 400 and told in answer.content.decode()
    with pytest.raises(CommandError, match=told):
        call_command(
            "print_record",
            site=[site.name],
            first=days["from"],
            last=days["to"],
            by=reader.email,
            out=tmp_path / "r.pdf",
        )
    assert not list(tmp_path.iterdir())


def test_today_is_the_day_on_the_clock_of_the_site(reader, site, clock):
    Site.objects.filter(pk=site.pk).update(time_zone="Pacific/Auckland")  # where it is the 12th already
    days = ("2026-03-12", "2026-03-13")
    assert [form_of(reader, site, **{"from": day, "to": day}).is_valid() for day in days] == [True, False]


@pytest.mark.parametrize("days", [{"last": "2026-03-12"}, {"first": "2026-03-12"}])
def test_a_file_of_readings_that_lie_ahead_is_refused_on_the_list(as_person, clock, reader, days):
    answer = as_person(reader).get(reverse("reading_export"), days, follow=True)
    assert "12 March 2026 has not come yet" in answer.content.decode() and answer.redirect_chain
    answer = as_person(reader).get(reverse("reading_export"), {"last": "2026-03-11"})
    assert answer.headers["Content-Type"].startswith("text/csv") and b"".join(answer)
