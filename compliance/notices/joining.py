"""Of what comes from many sites of an area at once, a supervisor gets one mail and not one a site."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace

from django.urls import reverse

from shared.words import plural
from sites.addresses import address

from .gathering import Item, Message
from .telling import Kind

LATE = "The time allowed is long over and no {} has been {}."
NAMED = 40  # lines of a mail
JOINED = {
    Kind.UNANSWERED: ("probe", "{} at {} are still not checked, see to it", LATE.format("check", "made")),
    Kind.NO_READING: ("reading", "{} at {} still not taken, see to it", LATE.format("reading", "taken")),
}  # fmt: skip


def key_of(message: Message) -> tuple:
    """Messages of the same key to somebody who is told of the whole area make one."""
    return (message.kind, "area", message.site.area_id) if message.kind in JOINED else alone(message)


def alone(message: Message) -> tuple:
    return message.kind, message.about


def joined(messages: Sequence[Message]) -> Message:
    """One message of all; of one alone, that very one. Each line then says its site."""
    if len(messages) == 1:
        return messages[0]
    first, area = messages[0], messages[0].site.area
    what, subject, lead = JOINED[first.kind]
    probes, reminders = (sum((getattr(m, name) for m in messages), []) for name in ("probes", "reminders"))
    counted = plural(len(probes) or len(reminders), what)
    link = address("area_detail", area.pk) or reverse("probe_list")
    return Message(
        first.kind, _about(messages), f"{area}: {subject.format(counted, plural(len(messages), 'site'))}", lead,
        _items(messages, link), link, area=area, probes=probes, reminders=reminders,
    )  # fmt: skip


def _items(messages: Sequence[Message], link: str) -> list[Item]:
    lines = [
        replace(item, title=f"{message.site}: {item.title}", says=_when(message, item.says))
        for message in messages
        for item in message.items
    ]
    more = len(lines) - NAMED
    return [*lines[:NAMED], Item(f"{more} more", "See the area.", link)] if more > 0 else lines


def _when(message: Message, says: str) -> str:
    return f"{says}, due {message.due}" if message.due else says


def _about(messages: Sequence[Message]) -> str:
    abouts = "\n".join(sorted(message.about for message in messages))
    return f"joined:{hashlib.sha256(abouts.encode()).hexdigest()}"
