"""Python reads this as it starts, in programs whose clock a test moves (`tests/engine/clocks.py`): they take the time of day to
be as many nanoseconds ahead as CLOCK_FILE tells at that moment. Spans are measured as before, as when somebody sets the clock
of a machine.
"""

import mmap
import os
import sys
from datetime import timedelta

sys.modules["pytest"] = None  # time_machine would load it where it can, and no program of ours waits for that
import time_machine  # noqa: E402

del sys.modules["pytest"]


def begin() -> None:
    with open(os.environ["CLOCK_FILE"], "rb") as file:
        moved = mmap.mmap(file.fileno(), 8, access=mmap.ACCESS_READ)
    clock = time_machine.travel(timedelta()).start()
    still = clock.time_ns
    clock.time_ns = lambda: still() + int.from_bytes(moved[:8], "little", signed=True)


begin()
