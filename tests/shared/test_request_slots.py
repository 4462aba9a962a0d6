"""The few places for what costs much."""

import gc
from threading import Event, Thread

import pytest
from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from django.test import RequestFactory

from compliance import settings
from shared.request_slots import FILES, HEAVY, PASSWORDS, Crowded, RequestSlots, few

DRAWING = "drawing drift pages"


@pytest.fixture
def places():
    return RequestSlots(most=2, waiting=0, patience=0)


def view_of(places, answer=lambda: HttpResponse("drawn"), **options):
    return few(places, DRAWING, **options)(lambda request: answer())


def test_so_many_at_once_and_whoever_comes_then_is_told_who_has_the_places(places):
    places.take(DRAWING)
    places.take(DRAWING)
    with pytest.raises(Crowded, match="^Two people are drawing drift pages already$"):
        places.take("printing")
    places.give_back(DRAWING)
    places.take("printing")
    with pytest.raises(Crowded, match="^One person is drawing drift pages and one person is printing already$"):
        places.take(DRAWING)


def test_who_waits_has_the_next_place_that_comes_free():
    places, waits, came = RequestSlots(most=1, waiting=1, patience=30), Event(), Event()
    places.take(DRAWING)

    def wait():
        waits.set()
        places.take("printing")
        came.set()

    Thread(target=wait, daemon=True).start()
    assert waits.wait(30)
    while not places._waiting:  # it is about to
        pass
    with pytest.raises(Crowded):
        places.take(DRAWING)
    assert not came.is_set()
    places.give_back(DRAWING)
    assert came.wait(30)


def test_who_waited_too_long_is_turned_away_and_leaves_room_to_wait():
    places = RequestSlots(most=1, waiting=1, patience=0.01)
    places.take(DRAWING)
    for _ in range(2):
        with pytest.raises(Crowded):
            places.take(DRAWING)


def test_a_view_gives_its_place_back_also_where_it_fails(places):
    def fails():
        raise ZeroDivisionError

    for _ in range(3):
        assert view_of(places)(RequestFactory().get("/")).content == b"drawn"
        with pytest.raises(ZeroDivisionError):
            view_of(places, fails)(RequestFactory().get("/"))


def test_what_is_made_while_it_is_sent_keeps_its_place_until_it_is_closed(places, db):
    view = view_of(places, lambda: StreamingHttpResponse(iter(["a", "b"])))
    sent, left = view(RequestFactory().get("/")), view(RequestFactory().get("/"))
    with pytest.raises(Crowded):
        view(RequestFactory().get("/"))
    sent.close()
    sent.close()
    again = view(RequestFactory().get("/"))
    with pytest.raises(Crowded):
        view(RequestFactory().get("/"))
    del left  # another answer was sent in its place, and nobody closed it
    gc.collect()
    view(RequestFactory().get("/"))
    again.close()


def test_a_file_that_is_ready_is_sent_without_a_place(places, tmp_path, db):
    (tmp_path / "record.pdf").write_bytes(b"%PDF")
    view = view_of(places, lambda: FileResponse((tmp_path / "record.pdf").open("rb")))
    answers = [view(RequestFactory().get("/")) for _ in range(3)]
    for answer in answers:
        answer.close()


def test_a_form_that_is_only_looked_at_takes_no_place(places):
    places.take(DRAWING)
    places.take(DRAWING)
    view = view_of(places, methods=("POST",))
    assert view(RequestFactory().get("/")).content == b"drawn"
    with pytest.raises(Crowded):
        view(RequestFactory().post("/"))


def test_places_are_left_to_the_pages_of_the_day():
    taken = sum(places.most + places.waiting for places in (HEAVY, FILES, PASSWORDS))
    assert settings.PAGES_AT_ONCE - taken >= 3
