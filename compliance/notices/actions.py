"""What people decide about notices and feeds."""

from collections.abc import Mapping
from datetime import time

from django.core.exceptions import ValidationError
from django.utils import timezone

from shared.audit.trail import action, note
from shared.stale_forms import refuse_newer
from sites.models import Person, Site

from .ical import digest_of, new_secret
from .models import Choice, FeedKey, Notice, QuietHours, State
from .queries import wishes
from .recipients import Kind, Wish


@action("notice.choose")
def choose(*, by: Person, choices: Mapping[Kind, Wish], quiet_from: time, quiet_until: time) -> None:
    """How somebody wants to be told. Raises ValidationError where a role requires more, and keeps all as it was."""
    known = wishes(by)
    for kind, wish in choices.items():
        if kind not in known:
            raise ValidationError(f"None of your roles is told of this: {kind.value}.")
        if wish | known[kind][0].required != wish:
            raise ValidationError({kind.value: "Your role requires this one. Leave it ticked."})
    for kind, wish in choices.items():
        wanted = {"by_mail": wish.mail, "in_page": wish.page}
        Choice.objects.update_or_create(person=by, kind=kind.value, defaults=wanted)
    QuietHours.objects.update_or_create(person=by, defaults={"starts": quiet_from, "ends": quiet_until})
    told = {kind.value: [wish.mail, wish.page] for kind, wish in choices.items()}
    note("notice.choose", by=by, subject=by, choices=told, quiet=[f"{quiet_from:%H:%M}", f"{quiet_until:%H:%M}"])


@action("notice.send_again")
def send_again(*, by: Person, notice: Notice) -> None:
    """Have mail tried again that was given up. Raises ValidationError where it was not."""
    again = Notice.objects.filter(pk=notice.pk, state=State.FAILED)
    if not again.update(state=State.WAITING, attempts=0, unclear_attempts=0, tried_since=None, not_before=None):
        raise ValidationError("This notice waits already, or has been sent.")
    note("notice.send_again", by=by, subject=notice, site_id=notice.site_id, answered=notice.answered)


@action("feed.open")
def open_feed(
    *, by: Person, site: Site, label: str, shows: str = FeedKey.Shows.BOTH, after: int | None = None
) -> tuple[FeedKey, str]:
    """A secret address for the calendar of a site. Gives the secret, which nobody can look up again.

    Raises ValidationError where one was made since `by` was shown `after` as the newest, so that a page sent twice makes one.
    """
    Site.objects.select_for_update().get(pk=site.pk)
    refuse_newer(after, FeedKey.objects.filter(site=site), _made)
    secret = new_secret()
    key = FeedKey(site=site, digest=digest_of(secret), label=label.strip(), shows=shows, made_by=by)
    key.full_clean()
    key.save()
    note("feed.open", by=by, subject=key, site_id=site.pk, shows=key.shows)
    return key, secret


def _made(key: FeedKey) -> str:
    return f"{key.made_by} has made the address “{key.label}” meanwhile. Revoke it below if nobody kept it."


@action("feed.revoke")
def revoke_feed(*, by: Person, key: FeedKey) -> None:
    """From now on its address shows nothing. Raises ValidationError where that is so already."""
    live = FeedKey.objects.filter(pk=key.pk, revoked_at=None)
    if not live.update(revoked_at=timezone.now(), revoked_by=by):
        raise ValidationError("This address is revoked already.")
    note("feed.revoke", by=by, subject=key, site_id=key.site_id)
