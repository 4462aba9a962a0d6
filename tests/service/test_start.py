"""The start command on one machine, pages and tasks in one process, started once: a disk that takes no more, a program that is
stopped in the middle of writing, a second `start` by mistake."""

import re
import resource
import signal
import sqlite3
import urllib.error
from contextlib import closing
from types import SimpleNamespace

import pytest

from compliance.service.writable import SAYS
from shared.trouble import Trouble
from tests.service.programs import until
from tests.service.visitor import Visitor


@pytest.fixture(scope="module")
def one(_alone):
    # On its full disk Python would leave halves of what it compiles, which no later program could load.
    program = _alone.start(PYTHONDONTWRITEBYTECODE="1")
    yield SimpleNamespace(program=program, visitor=Visitor(_alone.address(program)))
    _alone.put_right()


@pytest.fixture
def alone(one, _alone):
    """Where all is well before a test and after it."""
    until(lambda: _alone.health(one.program)[0] == 200, what=one.program.said())
    yield _alone
    _alone.goes_on()
    until(lambda: _alone.health(one.program)[0] == 200, what=one.program.said())


def says(installation, one) -> str:
    return installation.health(one.program)[1]["database"]["says"]


def refused(visitor, probe: int, error: str) -> str:
    """What the page says that did not take a check."""
    with pytest.raises(urllib.error.HTTPError) as refusing:
        visitor.record(probe, error)
    said = refusing.value.read().decode()
    assert refusing.value.code == 503 and "is not saved yet" in said and 'value="Fen Measurement"' in said
    return said


def sent_again(visitor, probe: int, said: str) -> None:
    kept = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', said)
    assert re.search(r"/checks/\d+/$", visitor.post(f"/probes/{probe}/certificate/", kept))


def the_probe(installation) -> int:
    [[probe]] = installation.rows("SELECT probe_id FROM checks_probestate")
    return probe


def recorded(installation, milli: int) -> list[tuple]:
    return installation.rows(f"SELECT count(*) FROM checks_check WHERE error_milli = {milli}")


def test_on_a_full_disk_nothing_is_lost_and_it_is_said(one, alone):
    """Made by a limit to the size of files that the running program may write."""
    probe, number = the_probe(alone), one.program.process.pid
    no_limit = resource.prlimit(number, resource.RLIMIT_FSIZE)
    with closing(sqlite3.connect(alone.database_url.removeprefix("sqlite:///"))) as other:
        other.execute("SELECT 1 FROM checks_probestate").fetchall()  # somebody has it open, as on most days
        resource.prlimit(number, resource.RLIMIT_FSIZE, (4096, no_limit[1]))
        until(lambda: says(alone, one) == SAYS[Trouble.FULL], what="a full disk")
        said = refused(one.visitor, probe, "0.4")
        assert "<h1>The disk is full</h1>" in said and "<dd>Fen Measurement</dd>" in said
        assert one.visitor.look(f"/probes/{probe}/")[0] == 200
        resource.prlimit(number, resource.RLIMIT_FSIZE, no_limit)
    sent_again(one.visitor, probe, said)
    assert recorded(alone, 400) == [(1,)]


def test_while_a_program_is_stopped_in_the_middle_of_writing_nothing_is_lost(one, alone):
    probe, sleeper = the_probe(alone), alone.writer("slow")
    assert not alone.health(one.program)[1]["database"]["well"]
    said = refused(one.visitor, probe, "0.3")
    (alone.folder / "go-on-slow").touch()
    sleeper.signal(signal.SIGCONT)
    until(lambda: alone.done("slow"), what="what was being written")
    alone.writer("doomed").kill()
    sent_again(one.visitor, probe, said)
    assert recorded(alone, 300) == [(1,)]
    assert not alone.done("doomed")


def test_a_second_by_mistake_does_no_harm_and_stops_at_once_when_asked(one, alone):
    second = alone.start()
    until(lambda: alone.health(second)[0] == 200, what=second.said())
    alone.goes_on()
    assert second.stop(seconds=10) == 0
