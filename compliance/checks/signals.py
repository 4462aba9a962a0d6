"""What goes up: a floor above tells whoever has to be told of a failed check, and knows which readings it puts in doubt."""

from django.dispatch import Signal

check_failed = Signal()
"""Sent with `check` in the transaction that records it."""
doubt_wanted = Signal()
"""Sent with `check` by the page of a failed one; answered with a `failed_page.InDoubt`, or None."""
