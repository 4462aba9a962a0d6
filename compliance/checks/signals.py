"""What goes up: whoever has to be told of a failed check, or of a probe that is gone, is told by a floor above."""

from django.dispatch import Signal

check_failed, probe_gone = Signal(), Signal()
"""Sent with `check`, or with `event`, in the transaction that records it."""
