"""Tags for what every page shows: states, temperatures, times and cautions."""

from datetime import datetime, tzinfo
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from shared import badges, cautions, units
from shared.kept_pages import mark_of
from shared.seal import seal_of
from shared.time_text import styled

register = template.Library()


@register.simple_tag
def badge(kind: str, value: str) -> SafeString:
    """The badge of a state: {% badge "standing" span.standing %}."""
    return badges.badge(kind, value)


@register.simple_tag
def shape(name: str) -> SafeString:
    """A decorative shape: {% shape "triangle" %}."""
    return badges.shape(name)


@register.simple_tag(takes_context=True)
def seal(context) -> str:
    """What HTMX is to act on carries it: <form data-seal="{% seal %}" hx-post="…">."""
    return seal_of(context.request.user)


@register.simple_tag(takes_context=True)
def person_mark(context) -> str:
    """Whose page it is, to the scripts that keep things on a phone."""
    return mark_of(context.request.user)


@register.simple_tag
def temperature(milli: int | None, unit: str = "C", digits: int = 1) -> SafeString:
    """A temperature kept in milli-degrees Celsius, shown in °C or °F."""
    return format_html('<span class="figure">{}</span>', units.show(milli, unit, digits))


@register.simple_tag
def when(moment: datetime | None, zone: tzinfo | str, style: str = "full") -> str:
    """A time on the clock of a zone.

    Styles: full "14 Mar 2026 16:05 GMT", short "14 Mar 16:05", day "14 Mar 2026", clock "16:05".

    Raises:
        ValueError: for a time without a zone, or an unknown style.
    """
    if moment is None:
        return "–"
    place = ZoneInfo(zone) if isinstance(zone, str) else zone
    shown = styled(moment, place, style)
    return format_html('<time datetime="{}">{}</time>', moment.isoformat(timespec="minutes"), shown)


@register.inclusion_tag("components/caution.html")
def caution(*keys: str) -> dict[str, object]:
    """One box with the cautions of the given keys: {% caution "ice_bath" "alcohol" %}."""
    return {"cautions": [cautions.caution(key) for key in keys]}


@register.simple_tag
def caution_text(key: str) -> str:
    """The words of one caution without a box."""
    return cautions.caution(key).text
