"""The daily work of ten people by HTTP against the service as it is started: alone; while the digests of all areas, the night's
rows and a file of 100,000 readings that the command brings in fall in it; and the same with the file sent by the page.

Read the ratios of one run. A database of `tests.benchmarks.big_set` is given, and is worn afterwards.
"""

import random
import re
import sqlite3
import sys
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from urllib.error import URLError
from urllib.request import Request

import django
from django.conf import settings
from django.core.management import call_command
from django.utils import timezone

django.setup()  # before the models below can be read

from compliance.notices.models import Notice, Notified  # noqa: E402
from compliance.notices.recipients import Kind  # noqa: E402
from compliance.overview.demo.setting import PASSWORD  # noqa: E402
from compliance.plans.models import Reminder  # noqa: E402
from compliance.readings.importing import import_file  # noqa: E402
from compliance.readings.models import Reading  # noqa: E402
from compliance.reminders.planning import extend_horizon  # noqa: E402
from sites.models import Area, Membership, Person, Role, Site  # noqa: E402
from tests.benchmarks.timed_writes import NOTED, Held, noted  # noqa: E402
from tests.service.installation import Installation  # noqa: E402
from tests.service.programs import Program  # noqa: E402
from tests.service.visitor import Visitor  # noqa: E402

MANAGERS, READINGS, ROWS = 8, 209_000, 100_000
NIGHTS = 7  # whose rows are laid in one: as where the machine was off for a week
P95_GOAL, LOCK_GOAL, KINDS = 3, 0.2, 8
LONG = 600  # seconds for which somebody waits for a file
LEFT = dict.fromkeys(("taken_at", "note", "hold_s", "since_start_s"), "")


@dataclass
class Minute:
    """What came of all requests of a run: what it was, its status and the seconds until it was answered."""

    answers: list[tuple[str, int, float]] = field(default_factory=list)
    longest_lock: float = 0.0
    errors: int = 0  # that the service tells of
    held: list[Held] = field(default_factory=list)

    def told(self) -> str:
        taken = sorted(seconds for _, _, seconds in self.answers)
        statuses = ", ".join(f"{n} × {status}" for status, n in sorted(Counter(s for _, s, _ in self.answers).items()))
        p50, longest = taken[len(taken) // 2], taken[-1]
        return (
            f"{statuses}; p50 {p50:.2f} s, p95 {self.p95():.2f} s, longest wait {longest:.2f} s, "
            f"longest write lock {self.longest_lock:.3f} s; {self.errors} errors in the log"
        )

    def told_of_writes(self) -> str:
        """The longest write transaction of each kind. By the clock it is longer wherever something else has the processor."""
        kinds = {each.whose for each in self.held}
        worst = {whose: max(each.processor for each in self.held if each.whose == whose) for whose in kinds}
        long = sum(each.processor > LOCK_GOAL for each in self.held)
        lines = [
            f"    {len(self.held)} write transactions, {long} of more than {LOCK_GOAL} s of the processor; the longest:"
        ]
        for whose in sorted(worst, key=worst.get, reverse=True)[:KINDS]:
            seconds = [each.seconds for each in self.held if each.whose == whose]
            lines.append(
                f"      {worst[whose]:.3f} s ({max(seconds):.3f} by the clock; {len(seconds)} of them)  {whose}"
            )
        return "\n".join(lines)

    def p95(self) -> float:
        taken = sorted(seconds for _, _, seconds in self.answers)
        return taken[int(0.95 * len(taken))]


class Worker(Visitor):
    """Somebody who does the work of one site, again and again without a pause."""

    def __init__(self, address: str, person: Person, site: Site):
        super().__init__(address, person.email, PASSWORD)
        self.person, self.site, self.limit = person, site, site.limits.get(code="chill-store")
        self.probes = list(site.probes.filter(withdrawn=False).order_by("pk").values_list("pk", flat=True))
        here = f"/areas/{site.area_id}/" if person.memberships.filter(area=site.area_id).exists() else "/probes/"
        self.acts: dict[str, Callable[[int], int]] = {
            "Today": lambda probe: self.look(f"/today/{site.pk}/")[0],
            "a reading": self.take_reading,
            "the area": lambda probe: self.look(here)[0],
            "a check": self.check,
        }

    def work(self, until: float, minute: Minute) -> None:
        turn = random.randrange(100)
        while time.monotonic() < until:
            turn += 1
            name = list(self.acts)[turn % len(self.acts)]
            begun = time.monotonic()
            try:
                status = self.acts[name](self.probes[turn % len(self.probes)])
            except URLError as error:  # an HTTPError is one
                status = getattr(error, "code", 0)
            minute.answers.append((name, status, time.monotonic() - begun))

    def take_reading(self, probe: int) -> int:
        told = {"probe": probe, "limit": self.limit.pk, "item": "Milk", "unit": "C", "taken_by": self.person.pk}
        typed = {"typed": f"{random.randrange(5, 45) / 10}", "used_despite": "No other was here.", "all_the_same": "on"}
        path = f"/readings/add/?site={self.site.pk}&limit={self.limit.pk}"
        return _saved(self.send(path, key=uuid.uuid4().hex, **told, **typed, **LEFT), "/readings/add/")

    def check(self, probe: int) -> int:
        return _saved(self.record(probe, f"0.{random.randrange(3)}"), "/certificate/")

    def bring_in(self, name: str, content: bytes) -> str:
        """A file by the page: sent, looked at, and brought in; gives the words of the page that tells what came in."""
        page = self.look("/readings/import/")[1]
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]
        action = re.search(r'action="(/readings/import/\?[^"]+)"', page)[1].replace("&amp;", "&")
        bound = uuid.uuid4().hex
        parts = (("csrfmiddlewaretoken", "", token.encode()), ("file", f'; filename="{name}"', content))
        head = '--{}\r\nContent-Disposition: form-data; name="{}"{}\r\n\r\n'
        body = b"".join(head.format(bound, name, more).encode() + sent + b"\r\n" for name, more, sent in parts)
        kind = {"Content-Type": f"multipart/form-data; boundary={bound}"}
        sent = Request(self.address + action, body + f"--{bound}--\r\n".encode(), kind)
        with self.browser.open(sent, timeout=LONG) as shown:
            preview = shown.url.removeprefix(self.address)
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', self.look(preview)[1])[1]
        yes = f"csrfmiddlewaretoken={token}".encode()
        with self.browser.open(self.address + preview, yes, timeout=LONG) as came_in:
            return came_in.read().decode()


def _saved(led_to: str, form: str) -> int:
    """A form that is shown again was not saved: it counts as 422."""
    return 422 if form in led_to else 200


class LockWatch(threading.Thread):
    """Asks again and again whether somebody could begin to write, and keeps the longest time in which nobody could."""

    def __init__(self, file: Path, minute: Minute):
        super().__init__(daemon=True)
        self.file, self.minute, self.over = file, minute, threading.Event()

    def run(self) -> None:
        refused_since = None
        with closing(sqlite3.connect(self.file, timeout=0, isolation_level=None)) as database:
            while not self.over.wait(0.004):
                try:
                    database.execute("BEGIN IMMEDIATE")
                except sqlite3.OperationalError:
                    now = time.monotonic()
                    refused_since = refused_since or now
                    self.minute.longest_lock = max(self.minute.longest_lock, now - refused_since)
                else:
                    database.execute("ROLLBACK")
                    refused_since = None


class Kitchens(Installation):
    """The service as people start it, with the people at work."""

    def __init__(self, folder: Path, seconds: float):
        super().__init__(folder, settings_url())
        self.seconds, self.workers = seconds, []
        self.noted = folder / "write_transactions"

    def serve(self) -> Program:
        usual = {"DATABASE_URL": self.database_url, "NOUGHTBOOK_SWEEP_EVERY": "60", "NOUGHTBOOK_LOG": "WARNING"}
        return self._timed("start", "start", "--port", "0", **usual)

    def _timed(self, name: str, *command: str, **usual: str) -> Program:
        return self._started(name, "-m", "tests.benchmarks.timed_writes", *command, **usual, **{NOTED: str(self.noted)})

    def minute(self, meanwhile: Callable[[], None] | None = None) -> Minute:
        self.noted.unlink(missing_ok=True)
        service, minute = self.serve(), Minute()
        self._sign_in(self.address(service))
        watch = LockWatch(Path(settings.DATABASES["default"]["NAME"]), minute)
        until = time.monotonic() + self.seconds
        threads = [threading.Thread(target=worker.work, args=[until, minute]) for worker in self.workers]
        threads += [threading.Thread(target=meanwhile)] if meanwhile else []
        for thread in (watch, *threads):
            thread.start()
        for thread in threads:
            thread.join()
        watch.over.set()
        watch.join()
        service.stop()
        minute.errors = service.said().count("Traceback")
        minute.held = noted(self.noted)
        return minute

    def _sign_in(self, address: str) -> None:
        self.workers = self.workers or [Worker(address, *each) for each in people()]
        for worker in self.workers:
            worker.address = address.rstrip("/")


def settings_url() -> str:
    return f"sqlite:///{settings.DATABASES['default']['NAME']}"


def people() -> list[tuple[Person, Site]]:
    """Managers of sites of their own, the supervisor of an area, and who supervises all."""
    of_sites = Membership.objects.filter(role=Role.MANAGER, site__isnull=False).select_related("person", "site")
    found = [(each.person, each.site) for each in of_sites.order_by("site")[:MANAGERS]]
    sites = Site.objects.order_by("-pk")
    above = [Person.objects.get(email=f"{who}@quillwood.example") for who in ("supervisor", "head")]
    return found + [(who, sites.filter(area__memberships__person=who).first()) for who in above]


def file_of(rows: int, site: Site, begin: datetime) -> bytes:
    probes = list(site.probes.filter(withdrawn=False).order_by("pk").values_list("code", flat=True))
    lines = ["site,probe,limit,item,value,unit,taken_at"]
    for i in range(rows):
        at = begin + timedelta(seconds=30 * i)
        value = 9 if i % 1000 == 0 else i * 37 % 45 / 10
        lines.append(
            f"{site.name},{probes[i % len(probes)]},chill-store,logger {i % 7},{value},C,{at:%Y-%m-%dT%H:%M:%SZ}"
        )
    return "\n".join(lines).encode()


def make_due() -> None:
    """All that a Monday morning brings, for the service to find when it starts."""
    now = timezone.now()
    Notified.objects.filter(kind=Kind.DIGEST).delete()
    Notice.objects.filter(kind=Kind.DIGEST).delete()
    told = (Notified(kind=Kind.DIGEST, number=pk, at=now) for pk in Area.objects.values_list("pk", flat=True))
    Notified.objects.bulk_create(told)
    ahead = now + timedelta(days=40 - NIGHTS)
    Reminder.objects.filter(probe__isnull=False, due_at__gt=ahead).delete()
    Reminder.objects.filter(limit__isnull=False, due_at__gt=now + timedelta(days=1)).delete()


def fill_up(kitchens: Kitchens) -> None:
    """Readings up to the number of a business of that size, by the files of some of its sites; and nothing is due any more."""
    call_command("migrate", verbosity=0)
    begin, half = timezone.now() - timedelta(days=150), (READINGS - Reading.objects.count()) // 2
    for site in Site.objects.order_by("-pk")[:2]:
        by = Membership.objects.get(site=site, role=Role.MANAGER).person
        import_file(by=by, file_name="logger.csv", content=file_of(max(half, 1), site, begin))
    extend_horizon(timezone.now())


def run(folder: Path, seconds: float) -> None:
    kitchens = Kitchens(folder, seconds)
    fill_up(kitchens)
    print(f"{Site.objects.count()} sites, {Reading.objects.count():,} readings", flush=True)
    first, begin = Site.objects.order_by("pk").first(), timezone.now() - timedelta(days=150)
    by = Membership.objects.get(site=first, role=Role.MANAGER).person
    said: list[str] = []

    def by_command() -> None:
        file = folder / "logger.csv"
        file.write_bytes(file_of(ROWS, first, begin))
        program = kitchens._timed("import", "import_readings", str(file), "--by", by.email, "-v", "0")
        program.process.wait()
        said.append(program.said().strip())

    def by_page() -> None:
        page = kitchens.workers[0].bring_in("logger.csv", file_of(ROWS, first, begin + timedelta(days=60)))
        said.append(" ".join(re.sub(r"(?s)<[^>]*>|\s+", " ", page).split())[-300:])

    kitchens.minute()  # in which every page is made for the first time
    alone = kitchens.minute()
    print(f"alone: {alone.told()}\n{alone.told_of_writes()}", flush=True)
    for how, bring_in in (("the command", by_command), ("the page", by_page)):
        make_due()
        before = _counts()
        busy = kitchens.minute(bring_in)
        print(f"with digests, night and a file by {how}: {busy.told()}\n{busy.told_of_writes()}", flush=True)
        print(
            f"    it brought readings, digests, rows ahead: {[n - m for n, m in zip(_counts(), before, strict=True)]}; {said}"
        )
        met = busy.p95() <= P95_GOAL * alone.p95()
        print(
            f"    p95 {busy.p95() / alone.p95():.2f} times that alone (goal ≤ {P95_GOAL}: {'met' if met else 'NOT met'})"
        )
    kitchens.close()


def _counts() -> list[int]:
    digests = Notice.objects.filter(kind=Kind.DIGEST)
    return [Reading.objects.count(), digests.count(), Reminder.objects.filter(due_at__gt=timezone.now()).count()]


if __name__ == "__main__":
    run(Path(sys.argv[1]), float(sys.argv[2]))
