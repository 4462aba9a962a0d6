"""What is written into the outbox, for whom, once."""

from datetime import UTC, datetime, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from compliance.checks.actions import void_check
from compliance.checks.instruments import move_probe
from compliance.notices.actions import choose
from compliance.notices.delivery import send_waiting
from compliance.notices.enqueue import enqueue, enqueue_due_notices
from compliance.notices.late_sources import overdue
from compliance.notices.models import Notice, Notified, State
from compliance.notices.recipients import Kind, Wish
from compliance.plans.actions import set_round
from compliance.plans.data import PlanData, RoundData
from compliance.probes.models import Probe
from compliance.reminders.models import Excuse, Reminder
from compliance.reminders.planning import change_plan
from shared import clock as shared_clock
from shared.audit.chain import newest_of
from shared.audit.head import in_groups
from sites.models import Membership, Role, Site
from tests.checks import making
from tests.remembered import remembered
from tests.world import make_limit, make_person, make_probe, make_reading

pytestmark = pytest.mark.usefixtures("mailing")
NINE = datetime(2026, 3, 11, 9, 0, tzinfo=UTC)  # a Wednesday, when the clock of these tests stands at noon
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def due(world, clock):
    """P1 is due at nine this Wednesday, with two hours of grace."""
    clock.move_to(NINE - 7 * DAY)
    remembered(checked, world)
    return world


def checked(world) -> None:
    making.good(world.probe, world.cook, NINE - 7 * DAY)


def tell(now, clock):
    clock.move_to(now)
    enqueue_due_notices(now)


def told(kind, person=None):
    found = Notice.objects.filter(kind=kind).order_by("pk")
    return found.filter(person=person) if person else found


def test_six_probes_of_a_site_make_one_notice_in_the_morning_and_one_when_overdue(due, clock):
    for number in range(2, 7):
        making.good(make_probe(due.site, f"P{number}", by=due.manager), due.cook, NINE - 7 * DAY)
    tell(NINE - 2 * HOUR, clock)
    tell(NINE + 3 * HOUR, clock)
    assert told("due").get().subject == "Alder School: check 6 probes today"
    assert told("overdue").get().subject == "Alder School: 6 probes are overdue, check now"
    assert len(told("overdue").get().probes) == 6


def test_what_is_told_of_a_site_at_one_moment_is_one_notice_whenever_it_fell_due(due, clock):
    making.good(make_probe(due.site, "P2", by=due.manager), due.cook, NINE - 9 * DAY)
    change_plan(
        by=due.manager, data=PlanData(probe=due.site.probes.get(code="P2"), every_days=8, at=time(8), reason="Agreed.")
    )
    tell(NINE + 5 * HOUR, clock)
    for kind, person in (("overdue", due.manager), ("unanswered", due.supervisor)):
        notice = told(kind, person).get()
        assert "probes P2 and P1 are" in notice.subject
        assert "due 10 Mar 2026 08:00 GMT" in notice.text and "due 11 Mar 2026 09:00 GMT" in notice.text


def test_of_several_sites_of_an_area_a_supervisor_gets_one_mail_and_each_manager_their_own(due, clock):
    other = make_probe(due.other_site, "B1", by=due.manager)
    making.good(other, due.cook, NINE - 7 * DAY)
    una, head = make_person("Una Vale", Role.MANAGER, site=due.other_site), make_person("Hob Lyle")
    for area in (due.area, due.far_area):
        Membership.objects.create(person=head, role=Role.SUPERVISOR, area=area)
    making.good(make_probe(due.far_site, "C1", by=due.manager), due.cook, NINE - 7 * DAY)
    tell(NINE + 5 * HOUR, clock)
    assert {(n.person, n.subject.partition(":")[0]) for n in told("overdue")} == {
        (due.manager, "Alder School"),
        (una, "Birch House"),
        (head, "Cedar School"),
    }
    joined = told("unanswered", due.supervisor).get()
    assert joined.subject == "North: 2 probes at 2 sites are still not checked, see to it"
    assert (joined.area, joined.site, joined.link) == (due.area, None, f"/areas/{due.area.pk}/")
    for line in (
        "Alder School: Probe P1",
        "Birch House: Probe B1",
        f"https://kitchen.example/probes/{other.pk}/check/",
    ):
        assert line in joined.text
    assert {n.subject.partition(":")[0] for n in told("unanswered", head)} == {"North", "Cedar School"}
    tell(NINE + 5 * HOUR, clock)
    assert told("unanswered").count() == 3


def test_readings_of_several_sites_are_joined_too(round_due, clock):
    other = make_limit(round_due.other_site, by=round_due.manager, code="hot-holding")
    set_round(by=round_due.supervisor, limit=other, data=RoundData(times=[time(8)], grace_minutes=60))
    tell(NINE + 2 * HOUR, clock)
    joined = told("no_reading", round_due.supervisor).get()
    assert joined.subject == "North: 2 readings at 2 sites still not taken, see to it"
    assert "Birch House: Reading for Hot holding" in joined.text
    assert len(joined.reminders) == 2


def test_a_mail_names_so_many_and_says_how_many_more(round_due, clock, monkeypatch):
    monkeypatch.setattr("compliance.notices.grouping.NAMED", 1)
    other = make_limit(round_due.other_site, by=round_due.manager, code="hot-holding")
    set_round(by=round_due.supervisor, limit=other, data=RoundData(times=[time(8)], grace_minutes=60))
    tell(NINE + 2 * HOUR, clock)
    text = told("no_reading", round_due.supervisor).get().text
    assert "1 more" in text and "Birch House: Reading" not in text


def test_checks_that_failed_before_anybody_was_there_are_told_in_one_mail_each_with_its_page(due, clock):
    held = list(Membership.objects.filter(role__gte=Role.MANAGER))
    Membership.objects.filter(role__gte=Role.MANAGER).delete()
    clock.move_to(NINE - DAY)
    probes = (due.probe, make_probe(due.site, "P2", by=due.manager))
    checks = [making.bad(probe, due.cook, NINE - DAY) for probe in probes]
    Membership.objects.bulk_create(held)
    other = making.bad(make_probe(due.other_site, "B1", by=due.manager), due.cook, NINE - DAY)
    for _ in range(2):
        enqueue_due_notices(NINE - DAY)
    mine = told("failed", due.manager).get()
    assert mine.subject == "Alder School: stop using probes P1 and P2, they failed their checks"
    for check in checks:
        assert f"https://kitchen.example/checks/{check.pk}/" in mine.text
    assert "Label them “Do not use” and keep them apart" in mine.text
    assert {n.link for n in told("failed", due.supervisor)} == {mine.link, f"/checks/{other.pk}/"}


def test_where_a_probe_is_by_now_it_is_told_too(due, clock):
    una = make_person("Una Vale", Role.MANAGER, site=due.other_site)
    clock.move_to(NINE - DAY)
    move_probe(by=due.supervisor, probe=due.probe, site=due.other_site, starts_at=NINE - DAY, reason="Lent.")
    making.bad(due.probe, due.cook, NINE - 2 * DAY, site=due.site)
    subjects = {person: told("failed", person).get().subject.partition(":")[0] for person in (due.manager, una)}
    assert subjects == {due.manager: "Alder School", una: "Birch House"}
    assert told("failed", una).get().link == f"/probes/{due.probe.pk}/"  # the check is not hers to see
    enqueue_due_notices(NINE - DAY)
    assert told("failed").count() == 4  # and the supervisor of both


def test_a_failed_check_says_by_how_much_in_the_unit_of_the_site(due, clock):
    due.site.unit = "F"
    due.site.save()
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    enqueue_due_notices(NINE - DAY)
    assert "It is off by +4.32 °F, where ±1.8 °F is allowed." in told("failed").first().text


def test_past_its_grace_the_manager_is_told_again_and_later_the_supervisor(due, clock):
    tell(NINE + 2 * HOUR - timedelta(minutes=1), clock)
    assert not told("overdue")
    tell(NINE + 2 * HOUR, clock)
    assert told("overdue").get().person == due.manager
    assert not told("unanswered")
    tell(NINE + 4 * HOUR, clock)
    assert told("unanswered").get().person == due.supervisor
    assert "P1" in told("unanswered").get().subject


def test_told_once_however_often_it_is_looked(due, clock):
    for hours in (0, 2, 3, 4, 5, 5):
        tell(NINE + hours * HOUR, clock)
    assert [told(kind).count() for kind in ("due", "overdue", "unanswered")] == [1, 1, 1]


def test_even_without_its_marks_a_notice_is_written_once(due, clock):
    tell(NINE + 5 * HOUR, clock)
    before = Notice.objects.count()
    Notified.objects.all().delete()
    enqueue_due_notices(NINE + 5 * HOUR)
    assert Notice.objects.count() == before


def test_a_check_in_time_leaves_nothing_overdue(due, clock):
    tell(NINE, clock)
    clock.move_to(NINE + HOUR)
    making.good(due.probe, due.cook, NINE + HOUR)
    tell(NINE + 6 * HOUR, clock)
    assert not told("overdue")


def test_an_excused_check_is_not_asked_for_again(due, clock):
    tell(NINE, clock)
    reminder = Reminder.objects.get(probe=due.probe, due_at=NINE)
    Excuse.objects.create(reminder=reminder, reason="The school is flooded.", recorded_by=due.manager)
    tell(NINE + 6 * HOUR, clock)
    assert not told("overdue")


@pytest.fixture
def round_due(world, clock):
    """A reading is due at eight, with an hour of grace, and at two, on each day of the week."""
    clock.move_to(NINE - 3 * HOUR)
    set_round(by=world.manager, limit=world.limit, data=RoundData(times=[time(8), time(14)], grace_minutes=60))
    return world


def test_a_reading_past_its_grace_is_told_to_the_manager_and_later_to_the_supervisor(round_due, clock):
    tell(NINE - timedelta(minutes=1), clock)
    assert not told("reading")
    tell(NINE, clock)
    notice = told("reading").get()
    assert (notice.person, notice.state) == (round_due.manager, State.WAITING)
    assert notice.subject == f"Alder School: take the reading for {round_due.limit} now"
    assert notice.link == f"/readings/add/?site={round_due.site.pk}&limit={round_due.limit.pk}"
    assert "11 Mar" in notice.text and f"https://kitchen.example{notice.link}" in notice.text
    tell(NINE + 2 * HOUR - timedelta(minutes=1), clock)
    assert not told("no_reading")
    tell(NINE + 2 * HOUR, clock)
    assert told("no_reading").get().person == round_due.supervisor
    tell(NINE + 2 * HOUR, clock)
    assert (told("reading").count(), told("no_reading").count()) == (1, 1)
    assert not told("overdue") and not told("unanswered")


def test_each_round_of_a_day_is_told_of_itself(round_due, clock):
    tell(NINE, clock)
    tell(NINE + 6 * HOUR, clock)
    assert told("reading").count() == 2


def test_readings_due_at_once_make_one_notice(round_due, clock):
    other = make_limit(round_due.site, by=round_due.manager, code="hot-holding")
    set_round(by=round_due.manager, limit=other, data=RoundData(times=[time(8)], grace_minutes=60))
    tell(NINE, clock)
    notice = told("reading").get()
    assert notice.subject == "Alder School: take 2 readings now"
    assert len(notice.reminders) == 2 and notice.link == f"/today/{round_due.site.pk}/"


def test_a_reading_that_was_taken_or_excused_or_is_too_late_to_take_is_not_asked_for(round_due, clock):
    tell(NINE - HOUR, clock)
    make_reading(round_due.probe, round_due.limit, "3.0", NINE - timedelta(minutes=30), by=round_due.cook)
    tell(NINE + timedelta(minutes=30), clock)
    tell(NINE + 5 * HOUR, clock)  # two o'clock
    reminder = Reminder.objects.get(round__isnull=False, due_at=NINE + 5 * HOUR)
    Excuse.objects.create(reminder=reminder, reason="The cold store is empty.", recorded_by=round_due.manager)
    tell(NINE + 8 * HOUR, clock)
    assert not told("reading")
    tell(NINE + DAY - 2 * HOUR, clock)
    Notified.objects.all().delete()
    tell(NINE + DAY + 5 * HOUR, clock)  # the one of eight is over as soon as that of two begins
    assert not told("reading")


def test_a_failed_check_is_told_at_once_to_both_in_the_night_too(due, clock):
    night = NINE - 8 * HOUR
    clock.move_to(night)
    check = making.bad(due.probe, due.cook, night)
    enqueue_due_notices(night)
    assert {n.person for n in told("failed")} == {due.manager, due.supervisor}
    assert {(n.state, n.not_before, n.link) for n in told("failed")} == {(State.WAITING, None, f"/checks/{check.pk}/")}
    assert "stop using probe P1" in told("failed").first().subject


def test_a_check_struck_out_is_no_news(due, clock):
    clock.move_to(NINE - DAY)
    check = making.bad(due.probe, due.cook, NINE - DAY)
    forget_failures()
    void_check(by=due.supervisor, check=check, reason="Another probe.")
    enqueue_due_notices(NINE - DAY)
    assert not told("failed")


def forget_failures():
    """As if what was written with a failed check had been lost."""
    Notified.objects.filter(kind="failed").delete()
    told("failed").delete()


def test_a_check_that_reached_the_record_long_ago_is_no_news(due, clock):
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    forget_failures()
    enqueue_due_notices(NINE + 7 * DAY)
    assert not told("failed")


def test_failed_checks_of_which_the_demo_pretends_that_they_were_recorded_earlier_make_one_mail_at_most(due, clock):
    clock.move_to(NINE)
    for days in (1, 2, 8):
        with shared_clock.pretend(NINE - days * DAY):
            making.bad(due.probe, due.cook, NINE - days * DAY)
    assert not told("failed")
    enqueue_due_notices(NINE)
    assert len(told("failed", due.manager).get().facts) == 2


def test_other_mail_waits_until_quiet_hours_are_over_and_goes_if_the_check_is_made(due, clock):
    change_plan(by=due.manager, data=PlanData(probe=due.probe, every_days=7, at=time(20)))
    at = NINE + 12 * HOUR + timedelta(minutes=59)  # 21:59, two hours less a minute after eight in the evening
    tell(at + timedelta(minutes=1), clock)
    notice = told("overdue").get()
    assert notice.not_before == datetime(2026, 3, 12, 6, tzinfo=UTC)
    making.good(due.probe, due.cook, at + timedelta(minutes=1))
    send_waiting(lambda: notice.not_before)
    notice.refresh_from_db()
    assert notice.state == State.NEEDLESS


def test_quiet_hours_are_a_persons_own(due, clock):
    choose(by=due.manager, choices={}, quiet_from=time(5), quiet_until=time(12))
    tell(NINE, clock)
    assert told("due").get().not_before == NINE + 3 * HOUR


def test_who_refused_the_mail_sees_it_in_the_pages_only(due, clock):
    choose(by=due.manager, choices={Kind.DUE: Wish(False, True)}, quiet_from=time(21), quiet_until=time(6))
    tell(NINE, clock)
    assert told("due").get().state == State.PAGE


def test_without_a_mail_server_all_is_shown_in_the_pages(due, clock, settings):
    settings.MAIL_WORKS = False
    choose(by=due.manager, choices={Kind.DUE: Wish(True, False)}, quiet_from=time(21), quiet_until=time(6))
    tell(NINE, clock)
    assert (told("due").get().state, told("due").get().in_page) == (State.PAGE, True)


def test_who_may_no_longer_sign_in_and_people_elsewhere_are_told_nothing(due, clock):
    due.manager.is_active = False
    due.manager.save()
    make_person("Ned Vale", Role.MANAGER, site=due.other_site)
    tell(NINE, clock)
    assert {n.person for n in told("due")} == {due.supervisor}


def test_the_week_of_an_area_for_its_supervisor(due, clock):
    clock.move_to(NINE - 6 * DAY)
    making.bad(due.probe, due.cook, NINE - 6 * DAY)
    monday = datetime(2026, 3, 9, 7, 0, tzinfo=UTC)
    tell(monday - timedelta(minutes=1), clock)
    told("digest").delete()
    tell(monday, clock)
    digest = told("digest").get(area=due.area)
    assert digest.person == due.supervisor
    assert digest.subject.startswith("North: the week to 8 Mar 2026, 1 failed")
    assert "probe P1 failed" in digest.text
    assert f": {in_groups(newest_of(due.area.business_id).hash)}. Keep this mail" in digest.text
    tell(monday + 2 * DAY, clock)
    assert told("digest").filter(area=due.area).count() == 1


def test_an_area_is_told_of_no_week_before_it_was_in_the_book(due, clock):
    """Begun on a Wednesday, it gets its first week on the next Monday."""
    clock.move_to(NINE)
    enqueue_due_notices(NINE)
    assert not told("digest")
    enqueue_due_notices(NINE + 5 * DAY)
    assert told("digest", due.supervisor).count() == 1


def test_a_failed_check_that_nobody_was_there_to_hear_of_is_told_to_whoever_comes(due, clock):
    held = Membership.objects.filter(person__in=[due.manager, due.supervisor])
    held.delete()
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    enqueue_due_notices(NINE - DAY)
    assert not told("failed")
    enqueue_due_notices(NINE - DAY + HOUR)
    Membership.objects.create(person=due.manager, role=Role.MANAGER, site=due.site)
    enqueue_due_notices(NINE - DAY + 2 * HOUR)
    enqueue_due_notices(NINE - DAY + 3 * HOUR)
    assert [notice.person for notice in told("failed")] == [due.manager]


def test_of_places_and_probes_out_of_use_nothing_is_told(due, clock):
    making.good(make_probe(due.site, "P2", by=due.manager), due.cook, NINE - 7 * DAY)
    making.good(make_probe(due.other_site, "B1", by=due.manager), due.cook, NINE - 7 * DAY)
    set_round(
        by=due.supervisor,
        limit=make_limit(due.other_site, by=due.manager),
        data=RoundData(times=[time(8)], grace_minutes=30),
    )
    clock.move_to(NINE + 5 * HOUR)
    making.event(Probe.objects.get(code="P2"), due.cook, "gone", NINE, "lost")
    Notice.objects.all().delete()  # that it is gone is told of by itself
    Site.objects.filter(pk=due.other_site.pk).update(closed=True)
    enqueue_due_notices(NINE + 5 * HOUR)
    kinds = {notice.kind for notice in Notice.objects.all()}
    assert kinds == {"due", "overdue", "unanswered"}
    for notice in Notice.objects.all():
        assert "P1" in notice.text and "P2" not in notice.text and "Birch House" not in notice.text


def test_notices_and_what_they_notify_of_are_written_together_or_not_at_all(due, clock, monkeypatch):
    clock.move_to(NINE - DAY)
    making.bad(due.probe, due.cook, NINE - DAY)
    forget_failures()

    def crash(*args, **kwargs):
        raise RuntimeError

    with monkeypatch.context() as patched:
        patched.setattr(Notice.objects, "bulk_create", crash)
        with pytest.raises(RuntimeError):
            enqueue_due_notices(NINE - DAY)
    assert not told("failed") and not Notified.objects.filter(kind="failed")
    enqueue_due_notices(NINE - DAY)
    assert told("failed").count() == 2


def test_what_another_run_told_meanwhile_is_told_once_and_the_rest_by_the_next(due, clock):
    tell(NINE, clock)
    clock.move_to(NINE + 2 * HOUR)
    gathered = overdue(NINE + 2 * HOUR)
    making.good(make_probe(due.site, "P2", by=due.manager), due.cook, NINE - 7 * DAY)
    Reminder.objects.filter(probe__code="P2", due_at=NINE).update(late_at=NINE + 3 * HOUR)
    both = overdue(NINE + 3 * HOUR)
    assert [len(each.notified) for each in (gathered, both)] == [1, 2]
    assert (enqueue(gathered, NINE + 2 * HOUR), enqueue(both, NINE + 3 * HOUR)) == (1, 0)
    enqueue_due_notices(NINE + 3 * HOUR)
    assert [[code in notice.text for code in ("P1", "P2")] for notice in told("overdue")] == [
        [True, False],
        [False, True],
    ]


def test_a_digest_is_worked_out_before_the_transaction_that_writes_it(due, clock, monkeypatch):
    """On SQLite nobody else writes meanwhile, and a page would wait for all the drift of all probes."""
    tell(NINE, clock)
    making.bad(due.probe, due.cook, NINE)
    depths, outside = [], len(connection.savepoint_ids)
    monkeypatch.setattr(
        "compliance.notices.digests.outlooks_of", lambda *given: depths.append(len(connection.savepoint_ids)) or []
    )
    tell(NINE + 5 * DAY, clock)
    assert told("digest") and depths == [outside]


def test_the_queries_do_not_grow_with_probes_sites_and_people(due, clock):
    monday = NINE - 2 * DAY
    enqueue_due_notices(monday - 7 * DAY)
    queries_of_a_fill(due, clock, 1, monday)
    few = queries_of_a_fill(due, clock, 2, monday + 7 * DAY)
    assert queries_of_a_fill(due, clock, 3, monday + 14 * DAY) == few


def test_nothing_new_takes_few_queries_and_writes_nothing(due, clock):
    tell(NINE, clock)
    with CaptureQueriesContext(connection) as asked:
        enqueue_due_notices(NINE)
    assert len(asked) <= 19
    wrote = [q["sql"].split()[2] for q in asked if q["sql"].startswith(("INSERT", "UPDATE"))]
    assert wrote == ['"notices_watermark"'], "up to when it was looked for each kind"


def queries_of_a_fill(world, clock, more, now):
    clock.move_to(now - DAY)
    for number in range(more):
        for site in (world.site, world.other_site):
            probe = make_probe(site, f"Q{site.pk}{more}{number}", by=world.manager)
            making.good(probe, world.cook, now - 2 * DAY)
            making.bad(probe, world.cook, now - DAY)
        limit = make_limit(world.site, by=world.manager, code=f"store-{more}{number}")
        set_round(by=world.manager, limit=limit, data=RoundData(times=[time(6)], grace_minutes=30))
        make_person(f"Una Vale{more}{number}", Role.MANAGER, site=world.other_site)
    clock.move_to(now)
    with CaptureQueriesContext(connection) as asked:
        enqueue_due_notices(now)
    assert told("digest").filter(made_at=now)
    assert told("reading").filter(made_at=now).count() == 1
    written = [q["sql"].partition("(")[0] for q in asked if q["sql"].startswith("INSERT")]
    return len(asked) - len(written) + len(set(written))  # of many rows an INSERT goes in batches
