"""Every writing action runs inside `@action`: one transaction holds the change and its entry, and none can forget the entry."""

import functools
import inspect
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.db import models, transaction

from .models import Entry


class ForgottenEntry(Exception):
    """An action changed records and left nothing in the trail; its transaction is rolled back."""


registry: dict[str, Callable] = {}
_device: ContextVar[str] = ContextVar("device", default="")
_written: ContextVar[list[Entry] | None] = ContextVar("written", default=None)


def action(name: str) -> Callable[[Callable], Callable]:
    """Register a writing action, such as `check.record`; its keyword `by` is the actor. Raises TypeError if it has none."""

    def register(function):
        parameters = inspect.signature(function).parameters.values()
        if not all(p.kind in (p.KEYWORD_ONLY, p.VAR_KEYWORD) for p in parameters) or "by" not in {
            p.name for p in parameters
        }:
            raise TypeError(f"{function.__qualname__} must take keywords only, with the actor as `by`.")
        if name in registry:
            raise TypeError(f"Two actions are named {name}.")

        @functools.wraps(function)
        def run(**kwargs):
            token = _written.set([])
            try:
                with transaction.atomic():
                    result = function(**kwargs)
                    if not _written.get():
                        raise ForgottenEntry(f"{name} left nothing in the trail.")
                    return result
            finally:
                _written.reset(token)

        run.action_name = name
        registry[name] = run
        return run

    return register


@contextmanager
def on_device(name: str) -> Iterator[None]:
    """What is done meanwhile is done on this device, which the trail names: on one that a kitchen's people share."""
    token = _device.set(name)
    try:
        yield
    finally:
        _device.reset(token)


def note(name: str, /, *, by, subject: models.Model, site_id: int | None = None, reason: str = "", **data) -> Entry:
    """Write one entry of the trail. `by` is a person, or None where the system acts. Only to be called inside an action."""
    written = _written.get()
    if written is None:
        raise RuntimeError("note() belongs inside a function decorated with @action.")
    data |= {"device": _device.get()} if _device.get() else {}
    entry = Entry(
        actor_id=by.pk if by else None,
        actor=str(by) if by else "Noughtbook",
        action=name,
        subject_type=subject._meta.label_lower,
        subject_id=subject.pk,
        subject=str(subject)[:200],
        site_id=site_id,
        reason=reason,
        data=data,
    )
    entry.save()
    written.append(entry)
    return entry
