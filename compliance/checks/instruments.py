"""Probes taken in and amended together with what follows for their timeline: when the next check is due."""

from django.db import transaction

from compliance.probes.actions import amend, register
from compliance.probes.models import Probe

from .timeline import lock, recut


@transaction.atomic
def register_probe(**given) -> Probe:
    """As `probes.actions.register`; its first check is due at once."""
    probe = register(**given)
    recut(probe)
    return probe


@transaction.atomic
def amend_probe(*, probe: Probe, **given) -> Probe:
    """As `probes.actions.amend`; other days between checks make the next one due at another time."""
    lock(probe)
    amended = amend(probe=probe, **given)
    recut(amended)
    return amended
