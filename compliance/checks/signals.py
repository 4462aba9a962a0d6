"""What goes up: a floor above tells whoever has to be told of a failed check, or of a probe that is gone, and knows which
readings a failed check puts in doubt."""

from django.dispatch import Signal

check_failed, probe_gone = Signal(), Signal()
"""Sent with `check`, or with `event`, in the transaction that records it."""
doubt_wanted, contradictions_wanted = Signal(), Signal()
"""Sent with `check` by the page of a failed one; answered with a `failed_page.InDoubt`, or None. Sent with `probe` by its page;
answered with what was read with it while it was recorded as being elsewhere or withdrawn, in words, or none."""
