import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from shared.badges import badge
from shared.tables import LEAD
from shared.templatetags.noughtbook import when

from .models import Notice, State


class PostTable(tables.Table):
    """The mail to people about one's sites, and what the server said of each."""

    subject = tables.Column("Notice", attrs=LEAD)
    person = tables.Column("To")
    state = tables.Column("Mail")
    answered = tables.Column("The mail server said", default="–")
    made_at = tables.Column("Made")
    again = tables.Column("", empty_values=(), attrs={"td": {"class": "act"}})

    class Meta:
        orderable = False
        empty_text = "No mail has been made for your sites yet."

    def __init__(self, *args, request, **kwargs):
        super().__init__(*args, **kwargs)
        self._request = request

    def render_state(self, value, record):
        return badge("post", "claimed" if record.claimed_at else record.state)

    def render_answered(self, value, record):
        """While it is still tried, how often it was and when it will be again."""
        if record.state != State.WAITING or not record.not_before:
            return value
        tried = "once" if record.attempts == 1 else f"{record.attempts} times"
        return format_html("{} Tried {}, again {}.", value, tried, when(record.not_before, zone_of(record), "short"))

    def render_made_at(self, value, record):
        return when(value, zone_of(record), "short")

    def render_again(self, record):
        if record.state != State.FAILED:
            return ""
        context = {"url": reverse("notice_again", args=[record.pk]), "notice": record}
        return render_to_string("notices/again.html", context, self._request)


def zone_of(notice: Notice):
    """The clock of its site; of an area's, that of its first site."""
    places = [notice.site] if notice.site_id else []
    if notice.area_id:
        places = sorted(notice.area.sites.all(), key=lambda site: site.pk)
    return places[0].zone if places else timezone.get_current_timezone()


def inbox_rows(notices) -> list[dict]:
    return [
        {
            "pk": n.pk,
            "title": n.subject,
            "url": n.link,
            "meta": format_html("{}", when(n.made_at, zone_of(n), "short")),
            "text": n.text,
            "unread": n.read_at is None,
            "tone": "bad" if n.kind == "failed" else "doubt",
        }
        for n in notices
    ]
