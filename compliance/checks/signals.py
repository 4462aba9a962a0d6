"""What goes up: a floor above tells whoever has to be told of a failed check, or of a probe that is gone, and knows which
readings a failed check puts in doubt."""

from django.dispatch import Signal

check_failed, probe_gone = Signal(), Signal()
"""Sent with `check`, or with `event`, in the transaction that records it."""
doubt_wanted = Signal()
"""Sent with `check` by the page of a failed one; answered with a `failed_page.InDoubt`, or None."""
