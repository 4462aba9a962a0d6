"""A reading with a probe that is not to be used: it needs a reason, which stays with it wherever it is shown."""

import csv
import re
import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from compliance.checks.actions import void_check
from compliance.checks.models import CheckDraft
from compliance.readings.actions import AlreadySent
from compliance.readings.exporting import csv_lines
from compliance.readings.importing import import_file
from compliance.readings.models import Reading
from shared.audit.models import Entry
from sites.models import Site
from tests.checks.making import bad, event, good
from tests.readings.files import csv_file, row
from tests.readings.helpers import EARLIER, correct, form_data, take
from tests.world import make_probe

pytestmark = pytest.mark.usefixtures("clock")
FAILED_AT = EARLIER + timedelta(hours=2, minutes=45)  # 11:45 at the site, a quarter of an hour before the tests' now
REASON = "No other probe at hand."


@pytest.fixture
def failed(world):
    """P1 was good on the day before and failed a quarter of an hour ago."""
    good(world.probe, world.cook, EARLIER - timedelta(days=1))
    return bad(world.probe, world.cook, FAILED_AT)


@pytest.fixture
def fit(world):
    probe = make_probe(world.site, "P2", by=world.manager, limits=[world.limit])
    good(probe, world.cook, EARLIER)
    return probe


def now():
    return timezone.now()


def test_without_a_reason_nothing_is_recorded_and_it_says_what_to_do(world, failed):
    for blank in ("", "  "):
        with pytest.raises(ValidationError) as refused:
            take(world, taken_at=now(), used_despite=blank)
        assert refused.value.message_dict == {
            "used_despite": ["Do not use P1: failed at zero today 11:45. Take another probe, or say why."]
        }
    with pytest.raises(ValidationError, match="at most 500 characters"):
        take(world, taken_at=now(), used_despite="long " * 101)
    assert not Reading.objects.exists()


def test_with_one_it_is_recorded_with_the_reason_in_the_trail_too(world, failed):
    reading = take(world, taken_at=now(), used_despite=f" {REASON} ")
    assert (reading.fitness, reading.used_despite) == ("do_not_use", REASON)
    told = Entry.objects.get(action="reading.record").data
    assert (told["fitness"], told["used_despite"]) == ("do_not_use", REASON)


def test_a_form_sent_again_with_another_reason_is_said_to_be_saved_with_the_first(world, failed):
    key = uuid.uuid4()
    reading = take(world, key=key, taken_at=now(), used_despite=REASON)
    assert take(world, key=key, taken_at=reading.taken_at, used_despite=f"{REASON} ") == reading
    with pytest.raises(AlreadySent):
        take(world, key=key, taken_at=reading.taken_at, used_despite="It is only water.")
    assert Reading.objects.get().used_despite == REASON


def test_a_reading_of_before_the_failure_is_judged_at_its_own_time(world, failed):
    assert take(world, taken_at=FAILED_AT - timedelta(minutes=5), used_despite=REASON).fitness == "ok"
    assert Reading.objects.get().used_despite == ""


def test_what_asks_for_a_check_first_is_noted_and_needs_no_reason(world):
    good(world.probe, world.cook, EARLIER - timedelta(days=1))
    event(world.probe, world.cook, "dropped", EARLIER)
    assert take(world, taken_at=now()).fitness == "check_first"


def test_a_correction_needs_the_reason_too_and_can_change_it(world, failed):
    old = take(world, taken_at=now(), used_despite=REASON)
    same = {
        "by": world.cook,
        "reading": old,
        "reason": "typing error",
        "probe": old.probe,
        "site": old.site,
        "limit": world.limit,
        "item": "milk",
        "unit": "C",
        "taken_at": old.taken_at,
    }
    with pytest.raises(ValidationError, match="Do not use P1"):
        correct(key=uuid.uuid4(), typed="4.1", **same)
    with pytest.raises(ValidationError, match="Nothing differs"):
        correct(key=uuid.uuid4(), typed="4.0", used_despite=REASON, **same)
    new = correct(key=uuid.uuid4(), typed="4.0", used_despite="P2 is broken.", **same)
    assert (new.used_despite, new.fitness) == ("P2 is broken.", "do_not_use")


def test_the_same_tap_again_after_the_probe_has_failed_meanwhile_gives_what_is_there(world):
    good(world.probe, world.cook, EARLIER - timedelta(days=1))
    key = uuid.uuid4()
    first = take(world, key=key, taken_at=now())
    bad(world.probe, world.cook, now())
    assert take(world, key=key, taken_at=now()) == first


def send(client, world, **facts):
    return client.post(reverse("reading_add") + f"?site={world.site.pk}", form_data(world, **facts))


def test_saving_asks_for_one_more_tap_with_a_reason_and_keeps_all_that_was_typed(world, as_person, failed, fit):
    client, typed = as_person(world.cook), {"item": "Custard", "typed": "4,2", "note": "left shelf"}
    asked = send(client, world, **typed)
    words = asked.content.decode()
    assert asked.status_code == 200 and not Reading.objects.exists()
    assert "Do not use P1" in words and "Failed at zero today 11:45." in words
    assert "Measure with P2 instead, which is OK to use." in words and "Save it all the same" in words
    assert all(f'value="{kept}"' in words for kept in ("Custard", "4,2")) and "left shelf" in words
    key = asked.context["form"].data["key"]
    assert send(client, world, key=key, used_despite=REASON, **typed).status_code == 302
    assert Reading.objects.get().used_despite == REASON


def test_what_makes_one_look_again_and_the_reason_are_asked_for_at_once(world, as_person, failed):
    client = as_person(world.cook)
    asked = send(client, world, typed="250").content.decode()
    assert "outside the working range" in asked and "Used all the same, because" in asked
    again = send(client, world, typed="250", all_the_same="on").content.decode()
    assert re.search(r'name="all_the_same"[^>]* checked', again) and "Say why, or choose another probe." in again
    assert send(client, world, typed="250", used_despite=REASON, all_the_same="on").status_code == 302


def test_the_list_has_those_that_are_ok_first_and_says_why_not_of_the_others(world, as_person, failed, fit):
    event(make_probe(world.site, "A9", by=world.manager), world.cook, "dropped", EARLIER)
    field = as_person(world.cook).get(reverse("reading_add")).context["form"].fields["probe"]
    groups = [(name, [label for _, label in options]) for name, options in list(field.choices)[1:]]
    assert groups == [
        ("OK to use", ["P2: OK to use"]),
        ("Check first", ["A9: Check first, never checked"]),
        ("Do not use", ["P1: Do not use, failed at zero today 11:45"]),
    ]


def test_choosing_a_probe_says_at_once_what_is_the_matter_with_it(world, as_person, failed, fit):
    client, headers = as_person(world.cook), {"HX-Request": "true"}
    asked = client.get(reverse("reading_add"), {"probe": world.probe.pk}, headers=headers).content.decode()
    assert "Do not use P1" in asked and "tone-bad" in asked and "Used all the same" not in asked
    asked = client.get(reverse("reading_add"), {"probe": fit.pk}, headers=headers).content.decode()
    assert "Do not use" not in asked and "Check P2" not in asked


def test_an_unfinished_check_that_shows_too_much_forbids_the_use_until_it_is_finished(world, as_person, fit):
    draft = CheckDraft.objects.create(
        key=uuid.uuid4(), probe=fit, person=world.manager, started_at=EARLIER, outside_since=FAILED_AT
    )
    assert send(as_person(world.cook), world, probe=fit.pk).status_code == 200
    good(fit, world.manager, now(), key=draft.key)
    assert not CheckDraft.objects.exists()
    assert send(as_person(world.cook), world, probe=fit.pk).status_code == 302


def test_the_reason_is_in_the_list_on_the_page_and_in_the_file(world, as_person, failed):
    reading, client = take(world, taken_at=now(), used_despite=REASON), as_person(world.reader)
    listed, page = client.get(reverse("reading_list")), client.get(reverse("reading_detail", args=[reading.pk]))
    for answer in (listed, page):
        assert REASON in answer.content.decode() and "Do not use" in answer.content.decode()
    lines = list(
        csv.DictReader("".join(csv_lines(Reading.objects.all(), Site.objects.all())).lstrip("\ufeff").splitlines())
    )
    assert [(line["fitness"], line["used_despite"]) for line in lines] == [("do_not_use", REASON)]


def test_a_file_is_not_refused_and_keeps_the_reason_that_it_gives(world, failed):
    at = now().isoformat()
    content = csv_file(
        row(taken_at=at, item="milk") + ",do_not_use," + REASON,
        row(taken_at=at, item="soup") + ",,",
        header=csv_file().decode().strip() + ",fitness,used_despite",
    )
    assert import_file(by=world.manager, file_name="a.csv", content=content).added == 2
    assert set(Reading.objects.values_list("item", "fitness", "used_despite")) == {
        ("milk", "", REASON),
        ("soup", "", ""),
    }


def test_what_is_saved_as_a_file_adds_nothing_when_it_comes_back(world, failed):
    take(world, taken_at=now(), used_despite=REASON)
    content = "".join(csv_lines(Reading.objects.all(), Site.objects.all())).encode()
    made = import_file(by=world.manager, file_name="a.csv", content=content)
    assert (made.rows, made.known, made.refused) == (1, 1, [])


def test_a_reason_that_is_too_long_is_named_by_line(world):
    content = csv_file(row() + "," + "x" * 501, header=csv_file().decode().strip() + ",used_despite")
    made = import_file(by=world.manager, file_name="a.csv", content=content)
    assert made.refused == [[2, "the reason in used_despite is longer than 500 characters"]]


def test_judging_the_probe_costs_a_reading_two_queries(world, monkeypatch):
    good(world.probe, world.cook, EARLIER - timedelta(days=1))

    def asked():
        with CaptureQueriesContext(connection) as captured:
            take(world, taken_at=now(), item=f"milk {uuid.uuid4().hex[:4]}")
        return len(captured)

    with_it = asked()
    monkeypatch.setattr("compliance.readings.actions._trusted", lambda reading, despite: reading)
    assert with_it - asked() == 2


def test_a_failed_check_struck_out_later_leaves_the_reading_as_it_was_entered(world, failed, supervisor):
    reading = take(world, taken_at=now(), used_despite=REASON)
    void_check(by=supervisor, check=failed, reason="the ice had melted")
    assert Reading.objects.get(pk=reading.pk).fitness == "do_not_use"
