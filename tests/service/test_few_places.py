"""What costs much leaves the pages of the day to everybody else: drift pages that never end, and a flood of wrong passwords."""

from collections import Counter
from concurrent.futures import ThreadPoolExecutor, wait

import pytest

from shared.request_slots import HEAVY, PASSWORDS
from tests.service.programs import until
from tests.service.visitor import Stranger, Visitor

CROWD = 24


@pytest.fixture(scope="module")
def held_up(_alone, tmp_path_factory):
    """A start command in which drawing waits for a file; and two people who are signed in."""
    folder = tmp_path_factory.mktemp("held-up")
    start = _alone.start_held_up(folder)
    (folder / "go-on-hashing").touch()
    visitors = [Visitor(_alone.address(start)) for _ in range(2)]
    (folder / "go-on-hashing").unlink()
    for told in folder.glob("hashing-*"):
        told.unlink()
    yield folder, *visitors
    _alone.put_right()


def under_way(folder, doing: str, number: int) -> None:
    until(lambda: len(list(folder.glob(f"{doing}-*"))) >= number, what=f"{number} {doing}")


def test_while_drift_pages_never_end_the_pages_of_the_day_come_and_so_do_the_drift_pages_in_the_end(held_up):
    folder, drawing, cook = held_up
    with ThreadPoolExecutor(CROWD) as crowd:
        first = [crowd.submit(drawing.look, "/outlook/") for _ in range(HEAVY.most)]
        under_way(folder, "drawing", HEAVY.most)
        others = [crowd.submit(drawing.look, "/outlook/") for _ in range(8)]
        assert {status for status, _ in (page.result() for page in others)} == {503}
        said = others[0].result()[1]
        assert "<h1>Two people are drawing drift pages already</h1>" in said and 'http-equiv="refresh"' in said
        assert cook.look("/today/")[0] == 200
        assert not any(page.done() for page in first)
        (folder / "go-on-drawing").touch()
        assert {page.result()[0] for page in first} == {200}
    assert drawing.look("/outlook/")[0] == 200


def test_a_flood_of_wrong_passwords_keeps_nobody_out_who_is_signed_in(held_up):
    folder, _, cook = held_up
    stranger = Stranger(cook.address)

    def guess(number: int) -> int:
        return stranger.guess(f"nobody{number}@example.test")

    with ThreadPoolExecutor(CROWD) as crowd:
        guesses = [crowd.submit(guess, number) for number in range(CROWD)]
        under_way(folder, "hashing", PASSWORDS.most)
        assert cook.look("/today/")[0] == 200
        turned_away = CROWD - PASSWORDS.most
        until(lambda: sum(each.done() for each in guesses) == turned_away, what=f"{turned_away} turned away")
        assert cook.look("/today/")[0] == 200
        assert len(list(folder.glob("hashing-*"))) == PASSWORDS.most
        (folder / "go-on-hashing").touch()
        wait(guesses)
    assert Counter(each.result() for each in guesses) == {503: turned_away, 200: PASSWORDS.most}
