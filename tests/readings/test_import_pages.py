"""Bringing in a file on the web: nothing is written before the yes, and a yes counts once."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from compliance.readings.importing.uploads import bring_in
from compliance.readings.models import Import, PendingUpload, Reading
from tests.readings.files import csv_file, many, row
from tests.readings.helpers import take

pytestmark = pytest.mark.usefixtures("clock")


def send(client, content, name="fridges.csv", to=None):
    return client.post(to or reverse("reading_import"), {"file": SimpleUploadedFile(name, content)})


def test_the_preview_names_bad_rows_and_writes_nothing(world, as_person):
    client = as_person(world.cook)
    answer = send(client, csv_file(row(), row(probe="P9"), row(item="ham", value="9")))
    words = client.get(answer.url).content.decode()
    assert "Line\xa03" in words and "no probe “P9”" in words and "Bring in 2 good rows" in words
    assert not Reading.objects.exists() and not Import.objects.exists()


def test_a_yes_brings_it_in_once(world, as_person):
    client = as_person(world.cook)
    page = send(client, many(3)).url
    first, second = client.post(page), client.post(page)
    assert first.url == second.url == client.get(page).url
    assert (Reading.objects.count(), Import.objects.count()) == (3, 1)
    assert bytes(PendingUpload.objects.get().packed) == b""


def test_of_two_who_say_yes_at_the_same_moment_one_brings_it_in(world, as_person):
    client = as_person(world.cook)
    send(client, many(3))
    upload = PendingUpload.objects.get()
    first = bring_in(by=world.cook, upload=upload)
    assert bring_in(by=world.cook, upload=upload) == first  # as the second read it, before the first was in
    assert (Reading.objects.count(), Import.objects.count()) == (3, 1)


def test_a_no_forgets_the_file(world, as_person):
    client = as_person(world.cook)
    client.post(send(client, many(3)).url, {"forget": "1"})
    assert not PendingUpload.objects.exists() and not Reading.objects.exists()


def test_what_nobody_answered_is_forgotten_after_a_day(world, as_person, clock):
    client = as_person(world.cook)
    send(client, many(3))
    clock.shift(timedelta(days=1, minutes=1))
    client = as_person(world.cook)
    send(client, many(4))
    assert PendingUpload.objects.count() == 1


def test_somebody_elses_file_is_not_found(world, as_person):
    page = send(as_person(world.cook), many(3)).url
    for person in (world.manager, world.stranger):
        assert as_person(person).get(page).status_code == 404
        assert as_person(person).post(page).status_code == 404
    assert not Reading.objects.exists()


@pytest.mark.parametrize("content", [b"no,header\n", "ä".encode("latin-1"), b"\n"])
def test_a_file_that_cannot_be_read_says_why_and_is_not_kept(world, as_person, content):
    answer = send(as_person(world.cook), content)
    assert answer.status_code == 200 and answer.context["form"].errors["file"]
    assert not PendingUpload.objects.exists()


def test_the_same_file_again_says_when_it_came_before(world, as_person):
    client = as_person(world.cook)
    client.post(send(client, many(3)).url)
    assert "brought in before" in client.get(send(client, many(3)).url).content.decode()


def test_readers_and_strangers(world, as_person):
    assert as_person(world.reader).get(reverse("reading_import")).status_code == 403
    assert send(as_person(world.reader), many(1)).status_code == 403
    assert as_person(world.reader).get(reverse("import_template")).status_code == 403
    client = as_person(world.cook)
    made = client.post(send(client, many(3)).url).url
    for person, status in ((world.cook, 200), (world.reader, 200), (world.supervisor, 200), (world.stranger, 404)):
        assert as_person(person).get(made).status_code == status


def test_the_template_comes_back_as_a_good_file(world, as_person, clock):
    clock.shift(timedelta(days=1))
    client = as_person(world.cook)
    answer = send(client, client.get(reverse("import_template")).content)
    assert "Bring in 1 good row" in client.get(answer.url).content.decode()


def exported(client, **query) -> bytes:
    return b"".join(client.get(reverse("reading_export"), query).streaming_content)


def test_what_goes_out_and_comes_back_adds_nothing(world, as_person):
    take(world, item="=1+2", note="@risk, “quoted”\nsecond line", hold_s=15, since_start_s=5400)
    take(world, item="'=odd", typed="−18", taken_at=datetime(2025, 10, 26, 1, 30, 5, 500_000, UTC))
    take(world, item="chips", typed="39.4", unit="F")
    client = as_person(world.manager)
    content = exported(client)
    assert b",'=1+2," in content and b"2025-10-26T01:30:05.500000+00:00" in content
    made = Import.objects.get(pk=client.post(send(client, content).url).url.rstrip("/").rsplit("/", 1)[1])
    assert (made.rows, made.added, made.known, made.refused) == (3, 0, 3, [])


def test_an_export_is_what_the_filter_shows(world, as_person):
    take(world, item="cold")
    take(world, item="warm", typed="9")
    content = exported(as_person(world.reader), deviations="on")
    assert b"warm" in content and b"cold," not in content.replace(b"cold-holding", b"")
    assert b"warm" not in exported(as_person(world.stranger))


def test_an_export_is_sent_piece_by_piece_and_looks_up_each_name_once(world, as_person, monkeypatch):
    monkeypatch.setattr("compliance.readings.exporting.ROWS", 4)
    client = as_person(world.reader)

    def asked(readings: int) -> int:
        while Reading.objects.count() < readings:
            take(world, item=f"bowl {Reading.objects.count()}")
        with CaptureQueriesContext(connection) as caught:
            pieces = list(client.get(reverse("reading_export")).streaming_content)
        assert b"".join(pieces).count(b",bowl ") == readings and len(pieces) == 1 + (readings + 3) // 4
        return len(caught)

    few, many = asked(3), asked(17)
    assert many == few + 4  # what was decided, asked for with each piece


def test_a_file_that_is_too_large_for_the_web_is_refused_unread(world, as_person, monkeypatch):
    monkeypatch.setattr("compliance.service.bodies.MOST_SENT", 2 * 1024 * 1024)
    client = as_person(world.cook)
    shown = client.get(reverse("reading_import")).context["action"]
    assert send(client, many(20_000), to=shown).status_code == 302
    PendingUpload.objects.all().delete()
    for content, to in [(b"x" * 2 * 1024 * 1024, shown), (b"x" * 1024 * 1024, None)]:
        answer = send(client, content, to=to)
        assert answer.status_code == 413 and "split a larger one into several" in answer.content.decode()
    assert not PendingUpload.objects.exists()
