"""The one thing that goes up: whoever has to be told of a failed check is told by a floor above."""

from django.dispatch import Signal

check_failed = Signal()
"""Sent with `check` in the transaction that records it."""
