"""A disk that takes no more, made by a limit to the size of files that the running program may write: what was typed is kept,
what was saved can be read, the health page says so, and all goes on when there is room.
"""

import re
import resource
import sqlite3
import urllib.error
from contextlib import closing

import pytest

from compliance.engine.writing import SAYS
from shared.trouble import Trouble
from tests.engine.programs import until
from tests.engine.visitor import Visitor


def says(installation, start) -> str:
    return installation.health(start)[1]["database"]["says"]


def test_on_a_full_disk_nothing_is_lost_and_it_is_said(alone):
    start = alone.start()
    until(lambda: says(alone, start) == "answers", what=says(alone, start))
    visitor = Visitor(alone.address(start))
    [[probe]] = alone.rows("SELECT probe_id FROM checks_probestate")
    no_limit = resource.prlimit(start.process.pid, resource.RLIMIT_FSIZE)
    with closing(sqlite3.connect(alone.database_url.removeprefix("sqlite:///"))) as other:
        other.execute("SELECT 1 FROM checks_probestate").fetchall()  # somebody has it open, as on most days
        resource.prlimit(start.process.pid, resource.RLIMIT_FSIZE, (4096, no_limit[1]))
        until(lambda: says(alone, start) == SAYS[Trouble.FULL], what="a full disk")
        with pytest.raises(urllib.error.HTTPError) as refused:
            visitor.record(probe, "0.4")
        said = refused.value.read().decode()
        assert refused.value.code == 503 and "<h1>The disk is full</h1>" in said and "is not saved yet" in said
        assert "<dd>Fen Measurement</dd>" in said
        assert visitor.look(f"/probes/{probe}/")[0] == 200
        resource.prlimit(start.process.pid, resource.RLIMIT_FSIZE, no_limit)
    kept = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', said)
    assert re.search(r"/checks/\d+/$", visitor.post(f"/probes/{probe}/certificate/", kept))
    assert alone.rows("SELECT count(*) FROM checks_check WHERE error_milli = 400") == [(1,)]
    until(lambda: says(alone, start) == "answers", what=says(alone, start))
