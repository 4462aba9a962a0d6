"""A check that fails is told at once: with real programs, and a schedule that looks once an hour and so is not who tells."""

import re
import time

import pytest

from tests.engine.conftest import sqlite_with_tables
from tests.engine.installation import Installation
from tests.engine.programs import until
from tests.engine.visitor import MANAGER, Visitor

TOLD = [MANAGER, "sol.venn@example.test"]


class Hourly(Installation):
    @property
    def environment(self):
        known = {name: value for name, value in super().environment.items() if name != "NOUGHTBOOK_ADDRESS"}
        return known | {
            "NOUGHTBOOK_SWEEP_EVERY": "3600",
            "NOUGHTBOOK_MAIL_TIMEOUT": "600",
            "NOUGHTBOOK_REDELIVER_AFTER": "3600",
        }


@pytest.fixture(scope="module")
def hourly(tmp_path_factory, request):
    folder = tmp_path_factory.mktemp("hourly")
    installation = Hourly(folder, sqlite_with_tables(request, folder)).with_post()
    installation.run("-m", "tests.engine.preparing", "1")
    yield installation
    installation.close()


@pytest.fixture
def office(hourly):
    hourly.post.mode = "accept"
    hourly.post.letters.clear()
    yield hourly.post
    hourly.kill_programs()
    # The next test would wait for what a sender that was killed in this one had claimed.
    hourly.change("UPDATE notices_notice SET claimed_at = NULL")


def probe_of(installation) -> int:
    return installation.rows("SELECT probe_id FROM checks_probestate ORDER BY probe_id DESC")[0][0]


def idle(installation, start) -> None:
    """Until its schedule has done all that it does in this hour."""
    for task in ("notices.fill", "notices.send", "reminders.sweep"):
        start.says(f"Task {task}[")


def text_of(letter) -> str:
    return letter.message.get_body(["plain"]).get_content()


def failures_of(office) -> list[str]:
    """To whom letters about a failed check went."""
    return sorted(letter.recipient for letter in office.letters if "stop using" in letter.subject)


def test_without_a_broker_the_process_that_took_it_tells_though_another_keeps_the_schedule(hourly, office):
    idle(hourly, hourly.start())
    visitor = Visitor(hourly.address(hourly.start()))
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.4"))
    until(lambda: failures_of(office) == TOLD, what=hourly.last_words())
    letter = next(each for each in office.letters if "stop using" in each.subject)
    assert re.search(rf"{visitor.address}/checks/\d+/", text_of(letter))  # not the usual port, and no setting says it
    visitor.record(probe_of(hourly), "0.1")
    time.sleep(1.5)
    assert failures_of(office) == TOLD


def test_nobody_waits_for_a_mail_server_that_hangs_and_the_pages_tell_meanwhile(hourly, office):
    """The server says nothing for ten minutes, a visitor waits for one at most."""
    visitor, told = Visitor(hourly.address(hourly.start())), "SELECT count(*) FROM notices_notice WHERE kind = 'failed'"
    before, office.mode = hourly.rows(told), "hang"
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.5"))
    until(lambda: office.asked["hang"], what=hourly.last_words())
    assert hourly.rows(told) > before
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "0.1"))


def test_with_a_broker_a_worker_tells_though_nobody_keeps_the_schedule(hourly, office):
    hourly.with_redis()
    hourly.worker().says("ready")
    visitor = Visitor(hourly.address(hourly.start()))
    check = re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.7"))[0]
    until(
        lambda: set(TOLD) <= {each.recipient for each in office.letters if check in text_of(each)}, what="the letters"
    )


def test_a_broker_that_is_gone_fails_no_check(hourly, office):
    """The last here to start a program: it leaves them without a broker."""
    hourly.with_redis()
    visitor = Visitor(hourly.address(hourly.start()))
    hourly.redis.kill()
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.8"))
    assert hourly.rows("SELECT count(*) FROM checks_check WHERE error_milli = 2800") == [(1,)]
