"""The same form sent twice (a double tap, a reload, the way back) leaves what it left when it was sent once."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from urllib.parse import urljoin, urlsplit
from uuid import uuid4

import pytest
from django.apps import apps
from django.test import Client
from django.urls import resolve, reverse
from django.utils import timezone

from compliance.checks import drafts
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import CheckDraft, Stage
from compliance.limits.models import Rule
from compliance.notices.models import Notice
from compliance.notices.queries import inbox
from compliance.plans.actions import close_days
from compliance.plans.data import ClosureData
from compliance.plans.models import Closure
from compliance.probes.models import EventKind
from compliance.quarantine.assessing import Selection
from compliance.quarantine.cases import load_case
from compliance.quarantine.models import Decision, Signature
from compliance.readings.importing.uploads import keep
from compliance.reminders.actions import excuse_reminder, void_excuse
from compliance.reminders.models import Excuse, ExcuseVoid, Reminder
from sites.actions import grant, make_password_link, restart_person, stop_person, use_password_link
from sites.models import PasswordLink, Role
from sites.password_links import tokens
from tests import everything
from tests.checks import making
from tests.everything import ADDRESSES
from tests.nasty import forms_in
from tests.quarantine.making import decide
from tests.readings.files import csv_file, row
from tests.remembered import all_rows, remembered
from tests.rows import fill
from tests.world import PASSWORD, make_reading

NEW = "silver-harbour-19"


@dataclass(frozen=True)
class Form:
    """Where a form is found and by whom, what is typed into it (None: not sent), and what is done before."""

    page: str = ""
    who: str = "supervisor"
    typed: dict = field(default_factory=dict)
    before: Callable = lambda records: None
    having: str = ""  # a field that tells it from others of the page


def stopped(records):
    stop_person(by=records["world"].supervisor, person=records["person"], reason="moved away")


def chosen(records):
    """The manager's password was chosen by a link."""
    person = records["world"].manager
    link = make_password_link(by=records["world"].supervisor, person=person)
    use_password_link(by=person, link=link, token=tokens.make_token(link), password=PASSWORD)
    person.refresh_from_db()


def missed(records):
    due = timezone.now() - timedelta(days=1, minutes=7)
    times = {"due_at": due, "grace_at": due + timedelta(hours=2), "closes_at": due + timedelta(days=7), "opens_at": due}
    made = {"probe": records["probe"], "site": records["site"], "because": "every 7 days"}
    records["reminder"] = Reminder.objects.create(**made, **times)


def excused(records):
    missed(records)
    excuse_reminder(by=records["world"].manager, reminder=records["reminder"], reason="In the laboratory.")


def decided(records):
    case, world = load_case(records["case"].replace("-", ":")), records["world"]
    everywhere = Selection(sites=(world.site.pk,))
    decide(by=world.manager, case=case, selection=everywhere, fate="discarded", why="Poured away.")


def closed(records):
    days = {"first_day": date(2026, 3, 16), "last_day": date(2026, 3, 20)}
    records["closure"] = close_days(
        by=records["world"].manager, data=ClosureData(site=records["site"], why="School holidays", **days)
    )


def heads(records):
    grant(by=None, person=records["world"].supervisor, role=Role.SUPERVISOR, area=records["world"].far_area)


def two_roles(records):
    world = records["world"]
    grant(by=world.supervisor, person=world.cook, role=Role.COOK, site=world.other_site)


def another_file(records):
    records["upload"] = keep(by=records["world"].supervisor, file_name="other.csv", content=csv_file(row(item="Cream")))


HOURS = {f"{word}_{day}": at for day in range(5) for word, at in (("opens", "08:00"), ("closes", "15:00"))}
WHY = {"reason": "Agreed with the kitchen."}
PAPER = {"checked_at": "2026-03-10T08:00", "immersion_mm": "", "no_figure": ""}
LINE = {"at": "08:00", "typed": "4.1", "used_despite": "No other probe was here.", "as_written": "on"} | {
    "hold_s": "",
    "since_start_s": "",
}
PLACE = {"altitude_m": "40", "country": "", "subdivision": "", "closed": None, "closed_on_holidays": None}
SENT = {
    "account_password": Form(typed={"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW}),
    "account_pin": Form(typed={"password": PASSWORD, "pin": "8305", "again": "8305"}),
    "account_password_told": Form(who="manager", before=chosen),
    "appliance_add": Form(typed={"name": "Milk fridge"}),
    "appliance_edit": Form(typed=WHY | {"name": "Milk fridge"}),
    "appliance_out": Form(typed={"why": "empty", "starts_at": "", "ends_at": ""}),
    "appliance_retire": Form(typed=WHY),
    "acts_change": Form(typed={"warm_actions": "Moved it to the other fridge"}),
    "area_add": Form(typed={"name": "East"}),
    "area_edit": Form(typed={"name": "Far north"}),
    "business_edit": Form(before=heads, typed=WHY | {"name": "Larkfield"}),
    "case_decide": Form("case_detail", typed={"scope": "picked", "fate": "discarded", "why": "Poured away."}),
    "case_sign": Form("case_detail", before=decided, typed={"note": ""}),
    "certificate_add": Form(
        typed={
            "laboratory": "Fen",
            "certificate_number": "F-1",
            "error": "0.1",
            "expanded": "0.05",
            "reference": "0",
            "checked_at": "2026-03-10T08:00",
        }
    ),
    "check_correct": Form(typed=WHY | {"note": "Read again.", "readings": "10 0.2\n40 0.2\n50 0.2\n60 0.2\n70 0.2"}),
    "check_paper_boiling": Form(
        typed=PAPER | {"source": "altitude", "pressure": "", "readings": "10 81\n40 98.4\n50 98.4\n60 98.4\n70 98.4"}
    ),
    "check_paper_zero": Form(typed=PAPER | {"readings": "10 8.0\n40 0.2\n50 0.2\n60 0.2\n70 0.2"}),
    "check_void": Form(typed=WHY),
    "closure_add": Form(
        typed={"why": "School holidays", "first_day": "2026-03-16", "last_day": "2026-03-20", "excuse_open": "on"}
    ),
    "closure_void": Form(before=closed, typed=WHY | {"last_day": ""}),
    "deviation_detail": Form(typed={"disposition": "discarded"}),
    "device_revoke": Form("site_devices"),
    "site_devices": Form(typed={"name": "Phone of the kitchen"}),
    "event_add": Form(typed={"kind": "dropped", "at": "2026-03-11T11:00"}),
    "event_void": Form(typed=WHY | {"replace": None}),
    "feed_list": Form(having="label"),
    "feed_revoke": Form("feed_list"),
    "import_preview": Form(before=another_file, typed={"forget": None}),
    "limit_add": Form(
        typed={
            "direction": "at_least",
            "value": "63",
            "code": "",
            "title": "Soup",
            "target": "",
            "hold_s": "",
            "within_s": "",
        }
    ),
    "limit_adopt": Form(before=lambda records: fill(Rule, records["world"])),
    "limit_adopt_rule": Form(typed=WHY | {"hold_s": "", "within_s": "", "target": ""}),
    "limit_change": Form(typed=WHY | {"value": "4", "hold_s": "", "within_s": "", "target": ""}),
    "limit_retire": Form(typed=WHY),
    "new_password": Form(who="", typed={"new_password1": NEW, "new_password2": NEW}),
    "notice_again": Form("notice_post"),
    "notice_choices": Form(typed={"quiet_from": "20:00"}),
    "notice_read": Form("notice_list"),
    "notice_read_all": Form("notice_list"),
    "opening_change": Form(typed=HOURS | WHY | {"opens_5": "", "closes_5": "", "opens_6": "", "closes_6": ""}),
    "out_of_use_back": Form("today_site"),
    "out_of_use_void": Form(typed=WHY),
    "person_add": Form(typed={"email": "ida@example.test", "name": "Ida Moss", "initials": "IM", "role": "20"}),
    "person_edit": Form(typed={"email": "col.eskers@example.test"}, having="email"),
    "person_name": Form(typed={"name": "Col Eskers", "reason": "Married in March."}),
    "person_password": Form(),
    "person_restart": Form("person_edit", before=stopped),
    "person_stop": Form(typed=WHY),
    "plan_business": Form(before=heads, typed=WHY | {"pattern": "every_days", "every_days": "3", "minutes_before": ""}),
    "plan_probe": Form(typed=WHY | {"pattern": "every_days", "every_days": "3", "minutes_before": ""}),
    "plan_site": Form(typed=WHY | {"pattern": "every_days", "every_days": "3", "minutes_before": ""}),
    "probe_add": Form(
        who="manager", typed={"code": "P9", "time_constant_s": "", "stem_diameter_mm": "", "every_days": "3"}
    ),
    "probe_edit": Form(typed=WHY | {"maker": "Rill", "time_constant_s": "", "stem_diameter_mm": ""}),
    "probe_move": Form(typed=WHY),
    "reading_add": Form(
        who="manager",
        typed={
            "typed": "4.1",
            "item": "Milk",
            "used_despite": "No other probe was here.",
            "hold_s": "",
            "since_start_s": "",
            "taken_at": "",
            "all_the_same": "on",
        },
    ),
    "reading_correct": Form(typed=WHY | {"typed": "6.5", "hold_s": "", "since_start_s": "", "all_the_same": "on"}),
    "reading_paper": Form(
        who="manager",
        typed={"day": "2026-03-10"}
        | {f"line-0-{name}": value for name, value in LINE.items()}
        | {f"line-{number}-{name}": None for number in range(1, 8) for name in LINE},
    ),
    "reading_void": Form(typed=WHY),
    "reminder_excuse": Form(before=missed, typed=WHY),
    "review_sheet": Form(typed={"meaning": "reviewed"}),
    "role_add": Form(typed={"role": "30"}),
    "role_remove": Form(before=two_roles),
    "round_change": Form(
        typed=WHY | {"times": "08:00, 14:00", "weekdays": ["0", "1"], "drop": None, "every_minutes": ""}
    ),
    "site_add": Form(typed={"name": "Dogwood School"} | PLACE),
    "site_edit": Form(typed=WHY | {"name": "Alder Nursery"} | PLACE),
    "today_together": Form(
        before=lambda records: making.event(
            records["probe"], records["world"].cook, EventKind.ADJUSTED, timezone.now()
        ),
        typed={"kind": "packed_crushed"},
    ),
}
ELSEWHERE = {
    "today_round": "a line, and what was done about it, each twice: tests/overview/test_round_sheet.py",
    "phone_send": "what a phone kept, twice: tests/phone",
    "probe_outlook_accept": "needs a year of checks: tests/advice/test_pages.py accepts the same advice twice",
    "kitchen": "signing in is no record of the work",
    "sign_in": "signing in is no record of the work",
    "sign_out": "nothing is left to sign out of",
    "reading_import": "a file sent twice is looked at twice and comes into the record once: tests/readings/test_import_pages.py",
} | {
    name: "each tap twice, in any order: tests/checks/test_tap_sequences.py; on an older page: below"
    for name, _ in ADDRESSES
    if name.startswith(("zero_check_", "boiling_check_"))
}
# What is worked out from facts and made anew by whatever asks for it.
DERIVED = {
    "Unsettled",
    "Span",
    "ProbeState",
    "Session",
    "Entry",
    "TaskRun",
    "PasswordTries",
}


def everything_kept() -> dict:
    """The rows of each table that has any, as the database holds them."""
    ours = [model for model in apps.get_models(include_auto_created=True) if not model.__module__.startswith("django.")]
    names = {model._meta.db_table: model.__name__ for model in ours if model.__name__ not in DERIVED}
    kept = {names[table]: rows for table, rows in all_rows().items() if table in names}
    return kept | {"CheckDraft": [draft_row(draft) for draft in CheckDraft.objects.order_by("pk")]}


def client_of(person) -> Client:
    client = Client()
    if person:
        client.force_login(person)
    return client


def found(client, name: str, form: Form, records) -> tuple[str, dict]:
    """The address and the fields of a form, as its page shows it."""
    page = form.page or name
    path = reverse(page, kwargs=everything.arguments(page, dict(ADDRESSES)[page], records))
    html = client.get(path).content.decode()
    for method, action, fields, _ in forms_in(html):
        to = urlsplit(urljoin(path, action))
        if method == "post" and resolve(to.path).url_name == name and (not form.having or form.having in fields):
            data = {key: value for key, value in (fields | form.typed).items() if value is not None}
            return f"{to.path}?{to.query}" if to.query else to.path, data
    raise AssertionError(f"No form on {path} is sent to {name}.")


def told(answer) -> str:
    """What a page says is wrong."""
    found = re.findall(r'(?s)class="[^"]*error-summary.*?</ul>|id="messages".*?</div>', answer.content.decode())
    return re.sub(r"(?s)<[^>]*>|\s+", " ", " ".join(found))


@pytest.fixture
def records(clock, db):
    return remembered(everything.build)


def test_every_address_that_takes_a_form_is_sent_one_twice(records):
    client = client_of(records["world"].supervisor)
    paths = {name: reverse(name, kwargs=everything.arguments(name, wanted, records)) for name, wanted in ADDRESSES}
    for name in (*SENT, *ELSEWHERE):
        paths.pop(name)
    assert {name for name, path in paths.items() if client.post(path).status_code != 405} == set()


@pytest.mark.parametrize("name", sorted(SENT))
def test_sent_twice_it_leaves_what_it_left_when_it_was_sent_once(name, records, clock):
    form = SENT[name]
    form.before(records)
    client = client_of(getattr(records["world"], form.who) if form.who else None)
    path, data = found(client, name, form, records)
    nothing = everything_kept()
    first = client.post(path, data)
    once = everything_kept()
    assert once != nothing, told(first)
    clock.shift(timedelta(minutes=1))
    second = client.post(path, data)
    assert everything_kept() == once
    assert second.status_code in (200, 302, 404, 422)


def posted(client, name, form, records, **typed):
    path, data = found(client, name, form, records)
    return client.post(path, data | typed, follow=True)


def test_an_excuse_sent_again_strikes_nothing_out_and_a_strike_sent_again_excuses_nothing(records):
    missed(records)
    reminder, client = records["reminder"], client_of(records["world"].manager)
    path, excuse = found(client, "reminder_excuse", Form(typed=WHY), records)
    assert client.post(path, excuse).status_code == 302
    again = client.post(path, excuse)
    assert again.status_code == 422 and "Mara Holt has excused this already" in told(again)
    assert reminder.excuses.get().reason == WHY["reason"] and not ExcuseVoid.objects.exists()
    _, strike = found(client, "reminder_excuse", Form(typed={"reason": "It was here."}), records)
    assert strike["excuse"] == str(reminder.excuses.get().pk) and client.post(path, strike).status_code == 302
    again = client.post(path, strike)
    assert "has struck this excuse out already" in told(again) and reminder.excuses.count() == 1
    client.post(path, excuse)  # asked anew, it is excused anew
    assert client.post(path, strike).status_code == 422 and reminder.excuses.filter(void=None).count() == 1


@pytest.mark.parametrize(
    "spoilt", [{"wants": ""}, {"wants": "toggle"}, {"wants": "strike_out"}, {"wants": "strike_out", "excuse": "999"}]
)
def test_a_form_that_does_not_say_what_it_wants_does_nothing(records, spoilt):
    excused(records)
    path = reverse("reminder_excuse", args=[records["reminder"].pk])
    answer = client_of(records["world"].manager).post(path, WHY | spoilt)
    assert answer.status_code == 422 and "did not arrive whole" in told(answer) and not ExcuseVoid.objects.exists()


def test_of_two_who_strike_out_two_excuses_neither_strikes_the_other_one(records):
    """The one who had the page open while the first excuse was struck out and a second one given."""
    excused(records)
    manager, client = records["world"].manager, client_of(records["world"].supervisor)
    path, strike = found(client, "reminder_excuse", Form(typed={"reason": "It was here."}), records)
    void_excuse(by=manager, excuse=Excuse.objects.get(), reason="The wrong one.")
    excuse_reminder(by=manager, reminder=records["reminder"], reason="Lent to the school.")
    assert "struck this excuse out already" in told(client.post(path, strike))
    assert Excuse.objects.get(void=None).reason == "Lent to the school."


def test_the_same_closure_sent_five_times_is_one_and_says_so(records):
    before, client = Closure.objects.count(), client_of(records["world"].supervisor)
    path, data = found(client, "closure_add", SENT["closure_add"], records)
    answers = [client.post(path, data) for _ in range(5)]
    assert [answer.status_code for answer in answers] == [302] + [422] * 4 and Closure.objects.count() == before + 1
    assert "is closed on those days already" in told(answers[-1]) and "School holidays" in told(answers[-1])
    assert client.post(path, data | {"last_day": "2026-03-21"}).status_code == 302


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("limit_change", {"value": "3"}),
        ("plan_probe", {"every_days": "2"}),
        ("plan_site", {"every_days": "2"}),
        ("round_change", {"times": "09:00"}),
        ("opening_change", {"opens_0": "07:00"}),
        ("feed_list", {"label": "Office"}),
        ("deviation_detail", {"action": "Thrown away."}),
        ("probe_edit", {"maker": "Brook"}),
    ],
)
def test_who_was_overtaken_is_told_and_may_then_send_it_all_the_same(records, name, other):
    form, manager, supervisor = SENT[name], client_of(records["world"].manager), client_of(records["world"].supervisor)
    path, first = found(manager, name, form, records)
    _, second = found(supervisor, name, form, records)
    assert supervisor.post(path, second).status_code in (200, 302)
    once = everything_kept()
    refused = manager.post(path, first | other)
    assert "Sol Venn has" in told(refused) and "Nothing was changed" in told(refused) and everything_kept() == once
    html = refused.content.decode()
    shown = next(fields for method, _, fields, _ in forms_in(html) if method == "post" and fields.get("after"))
    assert int(shown["after"]) > int(first["after"])
    manager.post(path, first | other | {"after": shown["after"]})
    assert everything_kept() != once


def test_readings_decided_on_meanwhile_are_not_decided_on_again_from_an_old_page(records):
    manager, supervisor, form = (
        client_of(records["world"].manager),
        client_of(records["world"].supervisor),
        SENT["case_decide"],
    )
    path, old = found(manager, "case_decide", form, records)
    posted(supervisor, "case_decide", form, records)
    answer = manager.post(path, old | {"fate": "released", "evidence": "The logger."})
    assert "Sol Venn has decided on this meanwhile: discarded" in told(answer) and Decision.objects.count() == 1
    answer = manager.post(path, old | {"scope": "all", "fate": "released", "evidence": "The logger."})
    assert answer.status_code == 422 and Decision.objects.count() == 1


def test_all_in_the_list_are_the_ones_that_the_page_showed(records):
    client, at = client_of(records["world"].supervisor), timezone.now() - timedelta(days=5, minutes=1)
    path, data = found(
        client,
        "case_decide",
        Form("case_detail", typed={"scope": "all", "pick": None, "fate": "discarded", "why": "Poured away."}),
        records,
    )
    make_reading(records["probe"], records["limit"], "7.5", at, by=records["world"].cook)
    assert "have come in since" in told(client.post(path, data)) and not Decision.objects.exists()


def test_nobody_signs_what_was_decided_after_they_looked(records):
    decided(records)
    client = client_of(records["world"].supervisor)
    path, data = found(client, "case_sign", SENT["case_sign"], records)
    decided(records)
    assert (
        "has decided on this meanwhile" in told(client.post(path, data, follow=True)) and not Signature.objects.exists()
    )


def test_notices_and_links_that_came_in_since_are_not_ticked_off(records):
    supervisor, manager = records["world"].supervisor, records["world"].manager
    client = client_of(supervisor)
    path, data = found(client, "notice_read_all", SENT["notice_read_all"], records)
    fresh = fill_notice(supervisor, records["site"])
    client.post(path, data)
    assert list(inbox(supervisor).filter(read_at=None)) == [fresh]
    chosen(records)
    client = client_of(manager)
    path, data = found(client, "account_password_told", SENT["account_password_told"], records)
    PasswordLink.objects.create(person=manager, made_by=supervisor, used_at=timezone.now())
    client.post(path, data)
    assert manager.password_links.filter(seen_at=None).count() == 1


def fill_notice(person, site) -> Notice:
    return Notice.objects.create(
        kind="failed",
        person=person,
        about=f"{uuid4()}",
        site=site,
        subject="Stop",
        link="/",
        in_page=True,
        state="sent",
    )


def test_a_person_who_was_stopped_anew_is_not_let_in_by_an_old_page(records):
    stopped(records)
    person, by, client = records["person"], records["world"].supervisor, client_of(records["world"].supervisor)
    path, data = found(client, "person_restart", SENT["person_restart"], records)
    restart_person(by=by, person=person)
    assert "may sign in already" in told(client.post(path, data, follow=True))
    stop_person(by=by, person=person, reason="moved away again")
    assert "stopped them anew" in told(client.post(path, data, follow=True))
    person.refresh_from_db()
    assert not person.is_active


def test_a_tap_on_the_page_of_an_older_check_does_nothing_to_the_present_one(records, clock):
    cook, probe = records["world"].cook, records["probe"]
    client = client_of(cook)
    old, new = uuid4(), drafts.begin(cook, probe, ICE.usual, Stage.AS_FOUND, timezone.now())
    for tap, data in (
        ("insert", {}),
        ("point", {"point": "crushed"}),
        ("read", {"value": "0.1", "seen": 0}),
        ("bath", {"say": "finish"}),
        ("finish", {"stage": "as_found"}),
    ):
        path = reverse(f"zero_check_{tap}", args=[probe.pk])
        client.post(f"{path}?of={old}", data)
    assert everything_kept()["CheckDraft"] == [draft_row(new)]
    client.post(f"{path.replace('finish', 'insert')}?of={new.key}")
    new.refresh_from_db()
    assert new.inserted_at


def draft_row(draft) -> dict:
    """Without the time of the last tap: a second tap is a tap."""
    row = CheckDraft.objects.filter(pk=draft.pk).values().get()
    return {name: value for name, value in row.items() if name != "tapped_at"}
