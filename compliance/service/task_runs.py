"""When each task of the schedule was last done, whoever did it."""

from celery.signals import task_success
from django.utils import timezone

from .models import TaskRun


def note(name: str) -> None:
    run = TaskRun(name=name, at=timezone.now())
    TaskRun.objects.bulk_create([run], update_conflicts=True, unique_fields=["name"], update_fields=["at"])


@task_success.connect
def note_success(sender, result=None, **given) -> None:
    """A task that gives False has left something to do."""
    if result is not False:
        note(sender.name)


def ages() -> dict[str, float]:
    """Seconds since each was last done."""
    now = timezone.now()
    return {name: (now - at).total_seconds() for name, at in TaskRun.objects.values_list("name", "at")}
