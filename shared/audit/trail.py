"""Every writing action runs inside `@action`: one transaction holds the change and its entry, and none can forget the entry."""

import functools
import inspect
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar

from django.db import connection, models, transaction

from .chain import Unsealed, seal
from .digests import digest_of
from .models import Entry, HashedColumns

SEAL = "record.seal"


class ForgottenEntry(Exception):
    """An action changed records and left nothing in the trail; its transaction is rolled back."""


registry: dict[str, Callable] = {}
_device: ContextVar[str] = ContextVar("device", default="")
_written: ContextVar[list[Entry] | None] = ContextVar("written", default=None)
_unsealed: ContextVar[Unsealed | None] = ContextVar("unsealed", default=None)


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
                with together():
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
def together() -> Iterator[None]:
    """One transaction, whose entries are put into the chain at its end. Whatever else is written in the transaction of an
    action goes into it too: from the chain on no other writer of the business goes on before the commit."""
    outer = _unsealed.get()
    if outer is not None:
        with _taken_back(outer), transaction.atomic():
            outer.depth = len(connection.savepoint_ids)
            yield
        return
    token = _unsealed.set(unsealed := Unsealed())
    try:
        with transaction.atomic():
            unsealed.depth = len(connection.savepoint_ids)
            yield
            seal(unsealed)
    finally:
        _unsealed.reset(token)


@contextmanager
def _taken_back(outer: Unsealed) -> Iterator[None]:
    """What fails inside leaves nothing behind, also where the rest goes on."""
    entries, records, depth = len(outer.entries), list(outer.records), outer.depth
    try:
        yield
    except BaseException:
        del outer.entries[entries:]
        outer.records = records
        raise
    finally:
        outer.depth = depth


@contextmanager
def on_device(name: str) -> Iterator[None]:
    """What is done meanwhile is done on this device, which the trail names: on one that a kitchen's people share."""
    token = _device.set(name)
    try:
        yield
    finally:
        _device.reset(token)


def note(name: str, /, *, by, subject: models.Model, site_id: int | None = None, reason: str = "", **data) -> Entry:
    """Write one entry of the trail, stored when the transaction ends. `by` is a person, or None where the system acts. Only to
    be called inside an action."""
    written = _written.get()
    if written is None:
        raise RuntimeError("note() belongs inside a function decorated with @action.")
    data |= {"device": _device.get()} if _device.get() else {}
    entry = _entry(name, by, subject, site_id=site_id, reason=reason, data=data)
    written.append(entry)
    return entry


def adopt(subject: models.Model) -> Entry:
    """An entry for records that no action has made, such as those of made-up days. Only to be called inside `together`."""
    return _entry(SEAL, None, subject)


def made(model: type[models.Model], pks: Sequence[int]) -> None:
    """Say which records an action has made, where the database made them by itself; all others are noticed."""
    if unsealed := _unsealed.get():
        unsealed.records.append((model, dict.fromkeys(pks)))


def notice_saved(sender, instance, created: bool, raw: bool = False, **kwargs) -> None:
    """Of each record that a model saves. Inside a savepoint it may still be taken back, so it is read back at the end."""
    if not created or raw or not getattr(sender, "written_once", False) or sender in (Entry, HashedColumns):
        return
    if unsealed := _unsealed.get():
        sure = len(connection.savepoint_ids) == unsealed.depth
        unsealed.records.append((sender, {instance.pk: digest_of(instance) if sure else None}))


def _entry(name: str, by, subject: models.Model, **about) -> Entry:
    entry = Entry(
        actor_id=by.pk if by else None,
        actor=str(by) if by else "Noughtbook",
        action=name,
        subject_type=subject._meta.label_lower,
        subject_id=subject.pk,
        subject=str(subject)[:200],
        **about,
    )
    _unsealed.get().take(entry, subject)
    return entry
