"""The health page tells the truth while parts die and hang, and never hangs itself."""

import time

from tests.engine.programs import until


def unwell(installation, start) -> set[str]:
    status, parts = installation.health(start)
    found = {name for name, part in parts.items() if not part["well"]}
    assert status == (503 if found else 200)
    return found


def comes_to(installation, start, expected: set[str]) -> None:
    until(lambda: unwell(installation, start) == expected, what=f"{expected}, not {installation.health(start)}")


def test_it_names_what_has_stopped_and_what_goes_on(grown):
    start, worker, beat = grown.start(), grown.worker(), grown.beat()
    comes_to(grown, start, set())
    worker.kill()
    until(lambda: "worker" in unwell(grown, start) and "schedule" not in unwell(grown, start))
    grown.worker()
    comes_to(grown, start, set())
    grown.redis.freeze()
    asked = time.monotonic()
    assert "broker" in unwell(grown, start)
    assert time.monotonic() - asked < 9  # it gives up after 2 s; the rest is for a busy machine
    grown.redis.thaw()
    comes_to(grown, start, set())
    grown.redis.kill()
    assert "broker" in unwell(grown, start)
    grown.redis.start()
    beat.kill()
    until(lambda: "schedule" in unwell(grown, start))
