"""A check that fails is told at once: with real programs, and tasks that come once an hour and so are not who tells."""

import re

import pytest

from tests.service.installation import Installation
from tests.service.programs import until
from tests.service.visitor import MANAGER, Visitor

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
def hourly(_alone, tmp_path_factory):
    installation = Hourly(tmp_path_factory.mktemp("hourly"), _alone.database_url).with_post()
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


def started_and_idle(installation) -> Visitor:
    """When all has been done that is done in this hour."""
    before = installation.done("notices.send")
    start = installation.start()
    until(lambda: installation.done("notices.send") != before, what=start.said())
    return Visitor(installation.address(start))


def text_of(letter) -> str:
    return letter.message.get_body(["plain"]).get_content()


def failures_of(office) -> list[str]:
    """To whom letters about a failed check went."""
    return sorted(letter.recipient for letter in office.letters if "stop using" in letter.subject)


def test_without_a_broker_the_process_that_took_it_tells_and_no_page_waits_for_a_mail_server_that_hangs(hourly, office):
    """The server then says nothing for ten minutes, a visitor waits for one at most."""
    visitor = started_and_idle(hourly)
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.4"))
    until(lambda: failures_of(office) == TOLD, what=hourly.last_words())
    letter = next(each for each in office.letters if "stop using" in each.subject)
    assert re.search(rf"{visitor.address}/checks/\d+/", text_of(letter))  # not the usual port, and no setting says it
    visitor.record(probe_of(hourly), "0.1")
    told = "SELECT count(*) FROM notices_notice WHERE kind = 'failed'"
    before, office.mode = hourly.rows(told), "hang"
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "2.5"))
    until(lambda: office.asked["hang"], what=hourly.last_words())
    assert hourly.rows(told) > before
    assert re.search(r"/checks/\d+/$", visitor.record(probe_of(hourly), "0.1"))
    assert failures_of(office) == TOLD
