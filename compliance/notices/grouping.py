"""Of what comes from many sites of an area at once, a supervisor gets one mail and not one a site."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace

from django.urls import reverse

from shared.plurals import plural
from sites.addresses import address

from .message_sources import Item, Message
from .recipients import Kind

LATE = "The time allowed is long over and no {} has been {}."
NAMED = 40  # lines of a mail
GROUPED = {
    Kind.UNANSWERED: ("probe", "{} at {} are still not checked, see to it", LATE.format("check", "made")),
    Kind.NO_READING: ("reading", "{} at {} still not taken, see to it", LATE.format("reading", "taken")),
}


def key_of(message: Message, *, of_area: bool) -> tuple:
    """Messages of the same key make one for somebody; `of_area`: who is told of the whole area."""
    if of_area and message.kind in GROUPED:
        return message.kind, "area", message.site.area_id
    return message.kind, message.about


def grouped(messages: Sequence[Message]) -> Message:
    """One message of all; of one alone, that very one. Each line then says its site."""
    if len(messages) == 1:
        return messages[0]
    first, area = messages[0], messages[0].site.area
    what, subject, lead = GROUPED[first.kind]
    probes = [probe for message in messages for probe in message.probes]
    reminders = [reminder for message in messages for reminder in message.reminders]
    counted = plural(len(probes) or len(reminders), what)
    link = address("area_detail", area.pk) or reverse("probe_list")
    return Message(
        first.kind,
        _about(messages),
        f"{area}: {subject.format(counted, plural(len(messages), 'site'))}",
        lead,
        _items(messages, link),
        link,
        area=area,
        probes=probes,
        reminders=reminders,
    )


def _items(messages: Sequence[Message], link: str) -> list[Item]:
    lines = [
        replace(item, title=f"{message.site}: {item.title}", says=_says(message, item))
        for message in messages
        for item in message.items
    ]
    more = len(lines) - NAMED
    return [*lines[:NAMED], Item(f"{more} more", "See the area.", link)] if more > 0 else lines


def _says(message: Message, item: Item) -> str:
    return f"{item.says}, due {message.due}" if message.due else item.says


def _about(messages: Sequence[Message]) -> str:
    abouts = "\n".join(sorted(message.about for message in messages))
    return f"joined:{hashlib.sha256(abouts.encode()).hexdigest()}"
