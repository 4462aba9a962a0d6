"""What the sender waits for."""

from django.dispatch import Signal

outbox_filled = Signal()
"""Sent after the commit when something is in the outbox that may leave at once."""
