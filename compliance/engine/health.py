"""How the engine is, in words and figures that tell nothing of the business. Answers within two seconds, whatever hangs."""

import time
from dataclasses import dataclass, replace

from django.conf import settings
from django.utils import timezone
from kombu import Connection

from compliance.notices.outbox_metrics import OFTEN, Backlog, backlog
from compliance.reminders import database_clock, heartbeats
from shared.trouble import Trouble, trouble_of
from shared.within import ask

from .writing import SAYS, unwritable

ANSWER_WITHIN = 2  # seconds for all of it
SKEW = 5  # seconds by which the database's clock may be put right without a word
APART = 30  # seconds by which a machine's clock and the database's may disagree
QUEUE = "celery"
ROUNDS = 15  # that a notice may wait for its turn
UNKNOWN = "not known: the database does not tell"


@dataclass(frozen=True, slots=True)
class Finding:
    """One part: whether it is well, how it says so, and its figure (seconds, or tasks for the broker)."""

    name: str
    well: bool
    says: str
    figure: float | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What the database tells."""

    ages: dict[str, float]
    mail: Backlog
    ahead: dict[str, float]  # of the database's clock, by machine
    unwritable: str = ""  # why nothing can be saved


@dataclass(frozen=True, slots=True)
class Beating:
    """A part that tells heartbeats: what stops when it stops, after how many seconds without one it has stopped, and by how
    many its last may lie ahead, where the database's clock was set back and the next is not due yet."""

    name: str
    label: str
    patience: float
    ahead: float = SKEW


def findings() -> list[Finding]:
    """The parts in the order in which a fault spreads: without the database nothing is known of what comes after."""
    until = time.monotonic() + ANSWER_WITHIN
    database, broker = ask(state), ask(waiting_tasks) if settings.BROKER else None
    known, told = answered("database", database, until, "answers")
    parts = [writable(told, known)]
    if broker:
        tasks, told = answered("broker", broker, until, "answers; {} tasks wait")
        parts.append(told)
    else:
        parts.append(Finding("broker", True, "none is used: one process keeps the schedule and does the tasks"))
    ages = known.ages if known else None
    parts += engine_parts(ages)
    return [*parts, mailed(known.mail if known else None), agreeing(known.ahead if known else None)]


def state() -> State:
    """Raises DatabaseError where there is no answer."""
    now = database_clock.now()
    here = {"this page": (timezone.now() - now).total_seconds()}
    return State(heartbeats.ages(), backlog(now), here | heartbeats.ahead(), unwritable())


def writable(told: Finding, known: State | None) -> Finding:
    if known is None or not known.unwritable:
        return told
    return replace(told, well=False, says=known.unwritable)


def answered(name: str, answer, until: float, says: str) -> tuple:
    """What was answered, and the finding. A part that does not answer in time is not well."""
    try:
        found = answer.result(max(0, until - time.monotonic()))
    except TimeoutError:
        return None, Finding(name, False, f"gives no answer within {ANSWER_WITHIN} s")
    except Exception as error:  # whatever is wrong with a part must not keep the page from telling so
        return None, Finding(name, False, failing(error))
    figure = found if isinstance(found, int) else None
    return found, Finding(name, True, says.format(found), figure)


def failing(error: Exception) -> str:
    """A file cannot even be read where its disk has no room for what SQLite keeps beside it."""
    return SAYS[Trouble.FULL] if trouble_of(error) is Trouble.FULL else f"fails: {type(error).__name__}"


def waiting_tasks() -> int:
    """How many tasks no worker has taken yet. Raises kombu.exceptions.OperationalError where there is no answer.

    The address is opened as Celery opens it, for redis-py alone reads some parts of it otherwise.
    """
    within = {"socket_timeout": ANSWER_WITHIN, "socket_connect_timeout": ANSWER_WITHIN}
    with Connection(settings.BROKER, transport_options=within) as broker:
        broker.ensure_connection(max_retries=0)
        return broker.default_channel.client.llen(QUEUE)


def beating() -> list[Beating]:
    """Which heartbeats there are."""
    patience = 3 * settings.SWEEP_EVERY + SKEW
    return [
        Beating("schedule", "The schedule", patience),
        Beating("worker", "A worker", patience),
        Beating("sweep", "The sweep", patience),
        Beating("notices", "The writing of notices", patience),
        Beating("slots", "The making of due times", 3 * settings.EXPAND_EVERY + SKEW, ahead=settings.EXPAND_EVERY),
        Beating("tidying", "The clearing away", 3 * settings.TIDY_EVERY + SKEW, ahead=settings.TIDY_EVERY),
    ]


def engine_parts(ages: dict[str, float] | None) -> list[Finding]:
    """What the heartbeats of these ages tell, which are those of the database (None where it does not answer)."""
    return [aged(part, ages) for part in beating()]


def aged(part: Beating, ages: dict[str, float] | None) -> Finding:
    if ages is None:
        return Finding(part.name, False, UNKNOWN)
    if part.name not in ages:
        return Finding(part.name, False, f"{part.label} has never been at work")
    age = ages[part.name]
    if age < -part.ahead:
        says = f"{part.label} was last at work {-age:.0f} s ahead: the database's clock was set back"
        return Finding(part.name, False, says, age)
    age = max(0.0, age)
    return Finding(part.name, age <= part.patience, f"{part.label} was at work {age:.0f} s ago", age)


def mailed(mail: Backlog | None) -> Finding:
    """Not well where a notice has waited a quarter of an hour for its turn, the mail server keeps turning one down, or one
    after the other was given up and none was sent since."""
    if mail is None:
        return Finding("mail", False, UNKNOWN)
    if not settings.MAIL_WORKS:
        return Finding("mail", True, "none is set up: notices are shown in the pages only")
    oldest = max(0.0, mail.oldest or 0.0)  # or the clock was set back since it was written
    says = "no notice waits" if mail.oldest is None else f"the oldest unsent notice has waited {oldest:.0f} s"
    if mail.given_up:
        says += f"; the last {mail.given_up} could not be sent, see Mail under Notices"
    if mail.turned_down:
        says += f"; the mail server has turned down {mail.turned_down} for the time being"
    late = mail.oldest_untried is not None and mail.oldest_untried > ROUNDS * settings.SWEEP_EVERY
    return Finding("mail", not late and not mail.turned_down and mail.given_up < OFTEN, says, oldest)


def agreeing(ahead: dict[str, float] | None) -> Finding:
    """Not well where a machine's clock is not the database's: times that people enter and due times would not fit together."""
    if ahead is None:
        return Finding("clocks", False, UNKNOWN)
    part, most = max(ahead.items(), key=lambda told: abs(told[1]))
    if abs(most) <= APART:
        return Finding("clocks", True, f"agree within {APART} s", round(most, 1))
    way = "ahead of" if most > 0 else "behind"
    says = f"the clock of the machine of “{part}” is {abs(most):.0f} s {way} the database's: set both by a time server"
    return Finding("clocks", False, says, round(most, 1))
