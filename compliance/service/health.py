"""How the machinery is, in words and figures that tell nothing of the business."""

from dataclasses import dataclass

from django.conf import settings
from django.utils import timezone
from kombu import Connection

from compliance.notices.outbox_metrics import OFTEN, Backlog, backlog
from shared.trouble import Trouble, trouble_of

from . import task_runs
from .writable import SAYS, unwritable

ANSWER_WITHIN = 2  # seconds for the broker; the database has its own limits
SLACK = 5  # seconds
QUEUE = "celery"
ROUNDS = 15  # that a notice may wait for its turn
EACH_MINUTE = ("reminders.settle", "notices.fill")
AHEAD = "reminders.extend_horizon"
UNKNOWN = "not known: the database does not tell"


@dataclass(frozen=True, slots=True)
class Finding:
    """One part: whether it is well, how it says so, and its figure (seconds, or tasks for the broker)."""

    name: str
    well: bool
    says: str
    figure: float | None = None


def findings() -> list[Finding]:
    """The parts in the order in which a fault spreads: without the database nothing is known of what comes after."""
    try:
        ages, mail, why = task_runs.ages(), backlog(timezone.now()), unwritable()
        database = Finding("database", not why, why or "answers")
    except Exception as error:  # whatever is wrong with a part must not keep the page from telling so
        ages, mail, database = None, None, Finding("database", False, failing(error))
    return [database, broker(), minute(ages), ahead(ages), mailed(mail)]


def failing(error: Exception) -> str:
    """A file cannot even be read where its disk has no room for what SQLite keeps beside it."""
    return SAYS[Trouble.FULL] if trouble_of(error) is Trouble.FULL else f"fails: {type(error).__name__}"


def broker() -> Finding:
    if not settings.BROKER:
        return Finding("broker", True, "none is used")
    try:
        tasks = waiting_tasks()
    except Exception as error:
        return Finding("broker", False, failing(error))
    return Finding("broker", True, f"answers; {tasks} tasks wait", tasks)


def waiting_tasks() -> int:
    """How many tasks no worker has taken yet. Raises kombu.exceptions.OperationalError where there is no answer.

    The address is opened as Celery opens it, for redis-py alone reads some parts of it otherwise.
    """
    within = {"socket_timeout": ANSWER_WITHIN, "socket_connect_timeout": ANSWER_WITHIN}
    with Connection(settings.BROKER, transport_options=within) as asked:
        asked.ensure_connection(max_retries=0)
        return asked.default_channel.client.llen(QUEUE)


def minute(ages: dict[str, float] | None) -> Finding:
    return last_run("tasks", ages, EACH_MINUTE, 3 * settings.SWEEP_EVERY + SLACK)


def ahead(ages: dict[str, float] | None) -> Finding:
    return last_run("ahead", ages, (AHEAD,), 3 * settings.EXPAND_EVERY + SLACK)


def last_run(name: str, ages: dict[str, float] | None, tasks: tuple[str, ...], most: float) -> Finding:
    """By the one that was done the longest ago; one that lies as far ahead, since the clock was set back, is no better."""
    if ages is None:
        return Finding(name, False, UNKNOWN)
    if not all(task in ages for task in tasks):
        return Finding(name, False, "never done yet")
    age = max((ages[task] for task in tasks), key=abs)
    return Finding(name, abs(age) <= most, f"last done {age:.0f} s ago", age)


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
