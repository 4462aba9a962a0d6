"""What was asked for at a site on a day, what became of it; and saying why something need not be done."""

from datetime import date, datetime, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html
from django.views.decorators.http import require_http_methods, require_safe

from compliance.checks.kinds import check_wanted
from compliance.notices.calendar_entries import entries
from compliance.notices.ical import CalendarEntry
from compliance.notices.late_sources import reading_url
from compliance.plans.calendar import Calendar, instant, local_day
from compliance.plans.queries import calendars
from compliance.plans.wording import day_words
from compliance.reminders.access import get_reminder
from compliance.reminders.actions import excuse_reminder, void_excuse
from compliance.reminders.forms import STRIKE_OUT, DayForm, ExcuseForm, StrikeExcuseForm
from compliance.reminders.queries import Told, asked_for, left_open, tell
from compliance.reminders.status import OPEN, Status
from shared.forms import attempt
from shared.templatetags.noughtbook import when
from shared.time_text import styled, weekday_day
from sites.access import get_site, may
from sites.models import Role, Site

from .tables import ReminderRow, ReminderTable

DAY = timedelta(days=1)
EXCUSED = "It stays in the record with your name and reason. A check or reading made later still counts."
STRUCK_OUT = "It counts no longer, but stays readable in the record. What it excused is asked for again, or was missed."


@require_safe
def reminder_list(request: HttpRequest, pk: int) -> HttpResponse:
    """What fell due at a site on one day, today if none is asked for: planned against done; today also what is left over."""
    site = get_site(request.user, pk)
    now = timezone.now()
    today = local_day(now, site.zone)
    day = _asked(request) or today
    start, end = _bounds(day, site)
    told = _in_order(asked_for(site, start, end, now))
    left = _in_order(left_open(site, start, now)) if day == today else []
    ahead = _ahead(site, day, now) if day >= today else []
    return render(
        request,
        "overview/reminder_list.html",
        {
            "site": site,
            "title": f"Planned and done, {day_words(day)}",
            "day": day,
            "tiles": _tiles(told, left) if day <= today else [],
            "table": _table(request, site, told, "clock") if told else None,
            "left": _table(request, site, left, "short") if left else None,
            "ahead": ahead,
            "print_url": print_of_day(site, day) if day <= today else "",
            "nothing": _nothing(_calendar(site, day, today), day, today, bool(told), bool(ahead)),
            "sections": sum(map(bool, (left, told, ahead))) > 1,
            "back_url": reverse("today_site", args=[pk]),
            "tabs": _days(site, day, today),
        },
    )


def print_of_day(site: Site, day: date) -> str:
    """The record of that day alone."""
    return f"{reverse('record_print')}?site={site.pk}&from={day:%Y-%m-%d}&to={day:%Y-%m-%d}"


def _ahead(site: Site, day: date, now: datetime) -> list[dict]:
    """What will fall due on that day, as far as the plans have been worked out."""
    found = [entry for entry in entries(site, now) if entry.due_day == day and entry.due_at > now]
    return [_foreseen(entry, site) for entry in found]


def _foreseen(entry: CalendarEntry, site: Site) -> dict:
    at = styled(entry.due_at, site.zone, "clock")
    return {"title": f"{at} {entry.what}", "meta": "If the check before it is made in time." if entry.tentative else ""}


def _in_order(reminders) -> list[Told]:
    return list(tell(reminders.order_by("due_at", "pk")))


def _table(request: HttpRequest, site: Site, told: list[Told], style: str) -> ReminderTable:
    writes, excuses = (may(request.user, site, role) for role in (Role.COOK, Role.MANAGER))
    rows = [row_of(each, writes, excuses) for each in told]
    return ReminderTable(rows, style=style)


def row_of(told: Told, writes: bool, excuses: bool) -> ReminderRow:
    """`writes`, `excuses`: what the person who looks may do at the site."""
    return ReminderRow(told, _who(told), *_next_steps(told, writes, excuses))


def _calendar(site: Site, day: date, today: date) -> Calendar:
    """Of a day that is past, by what was set for the site when it began."""
    then = site.as_known_at(_bounds(day, site)[0]) if day < today else site
    return calendars([then])[site.pk]


def _nothing(calendar: Calendar, day: date, today: date, something: bool, ahead: bool) -> dict | None:
    """Why nothing fell due: heading and text; of a closed day also where something did."""
    why = calendar.why_closed(day)
    if why:
        return {"heading": _closed(why), "text": _closed_text(calendar, day, something)}
    if something or ahead:
        return None
    if day > today:
        return {"heading": "This day has not come yet", "text": "What falls due on it is listed here from then on."}
    if day == today:
        return {"heading": "Nothing falls due today", "text": "No check and no reading is planned for this day."}
    return {"heading": "Nothing fell due", "text": "No check and no reading was asked for on this day."}


def _closed(why: str) -> str:
    return why[:1].upper() + why[1:] if "closed" in why.lower() else f"Closed: {why}"


def _closed_text(calendar: Calendar, day: date, something: bool) -> str:
    if something:
        runs_into_it = calendar.begins(day) > instant(day, datetime.min.time(), calendar.zone)
        night = ", or in the hours of the day before" if runs_into_it else ""
        return f"What is listed was asked for at once, or before the day was closed{night}."
    following = calendar.next_open(day)
    moved = f"; what was planned for it moves to {day_words(following)}, the next open day" if following else ""
    return f"No plan asks for anything on a closed day{moved}."


@require_http_methods(["GET", "HEAD", "POST"])
def reminder_excuse(request: HttpRequest, pk: int) -> HttpResponse:
    """Say why it need not be done; or, where that is said already, strike it out. What is sent says which."""
    reminder = get_reminder(request.user, pk)
    excuse = reminder.excuses.live().first()
    strikes = request.POST.get("wants", STRIKE_OUT if excuse and request.method != "POST" else "") == STRIKE_OUT
    data = request.POST if request.method == "POST" else None
    form = StrikeExcuseForm(data, reminder=reminder, live=excuse) if strikes else ExcuseForm(data)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        subject = {"excuse": form.cleaned_data["excuse"]} if strikes else {"reminder": reminder}
        act = void_excuse if strikes else excuse_reminder
        if attempt(form, act, by=request.user, reason=reason, **subject):
            messages.success(request, "The excuse is struck out." if strikes else "Excused. The record says why.")
            return redirect(_address(reminder))
    title = "Strike out this excuse?" if strikes else "Excuse this?"
    return render(
        request,
        "overview/reminder_excuse.html",
        {
            "form": form,
            "reminder": reminder,
            "site": reminder.site,
            "excuse": excuse,
            "title": title,
            "subject": str(reminder.probe or reminder.what_then),
            "back_url": _address(reminder),
            "submit_label": "Strike it out" if strikes else "Excuse it",
            "lead": STRUCK_OUT if strikes else EXCUSED,
        },
        status=422 if form.is_bound else 200,
    )


def _asked(request: HttpRequest) -> date | None:
    form = DayForm(request.GET)
    return form.cleaned_data["day"] if form.is_valid() else None


def _bounds(day: date, site: Site) -> tuple[datetime, datetime]:
    midnight = datetime.min.time()
    return instant(day, midnight, site.zone), instant(day + DAY, midnight, site.zone)


def _address(reminder) -> str:
    day = local_day(reminder.due_at, reminder.site.zone)
    return f"{reverse('reminder_list', args=[reminder.site_id])}?day={day:%Y-%m-%d}"


def _days(site: Site, day: date, today: date) -> list[dict]:
    """The week up to the day that is shown, and a way back to today."""
    days = sorted({*(day + DAY * n for n in range(-3, 2)), today})
    base = reverse("reminder_list", args=[site.pk])
    return [
        {
            "label": "Today" if each == today else weekday_day(each),
            "url": f"{base}?day={each:%Y-%m-%d}",
            "current": each == day,
        }
        for each in days
    ]


def _tiles(told: list[Told], left: list[Told]) -> list[dict]:
    count = {status: sum(each.status == status for each in told) for status in Status}
    waiting = sum(count[status] for status in OPEN) + len(left)
    late, unfit = sum(each.excused_late for each in told), sum(each.unfit for each in told)
    missed, excused = count[Status.MISSED] + late, count[Status.EXCUSED] - late
    not_owed, doubted = (sum(bool(getattr(each, name)) for each in told) for name in ("not_owed", "doubted"))
    gone, unasked = count[Status.CANCELLED] - not_owed, count[Status.NOT_ASKED]
    return [
        {"value": count[Status.CLEARED] - unfit, "label": "done", "tone": "good"},
        *(
            [
                {
                    "value": unfit + doubted,
                    "label": "taken, not to be relied on",
                    "tone": "doubt",
                    "note": "counted as still to do or missed" if doubted else "",
                }
            ]
            if unfit or doubted
            else []
        ),
        {
            "value": waiting,
            "label": "still to do",
            "tone": "doubt" if waiting else "good",
            "note": f"{len(left)} from earlier days" if left else "",
        },
        {"value": missed, "label": "missed", "tone": "bad" if missed else "good"},
        {"value": excused, "label": "excused", "tone": "info"},
        *[
            {"value": value, "label": label, "tone": "info"}
            for value, label in (
                (gone, "no longer asked for"),
                (unasked, "not asked in time"),
                (not_owed, "not done in time, not owed"),
            )
            if value
        ],
    ]


def _who(told: Told) -> str:
    """Who did it and when, or who excused it and why, or why it is no longer asked for."""
    zone = told.reminder.site.zone
    if told.check:
        return format_html("{}, {}", told.check.name_of("checked_by"), when(told.check.checked_at, zone, "short"))
    if told.reading:
        return format_html("{}, {}", told.reading.name_of("taken_by"), when(told.reading.taken_at, zone, "short"))
    if told.excuse:
        at = when(told.excuse.recorded_at, zone, "short")
        return format_html("{}, {}: {}", told.excuse.name_of(), at, told.excuse.reason)
    if told.not_owed:
        return f"Later found not to be owed: {told.reminder.cancelled_because}"
    if told.status == Status.CANCELLED:
        return told.reminder.cancelled_because
    if told.doubted:
        return format_html("{}, {}", told.doubted.name_of("taken_by"), when(told.doubted.taken_at, zone, "short"))
    return ""


def _next_steps(told: Told, writes: bool, excuses: bool) -> tuple[tuple[str, str], tuple[tuple[str, str], ...]]:
    """What this person is to do about it, and what else they can look at or say: words and address each."""
    reminder, steps = told.reminder, []
    now = ("", "")
    if told.status in OPEN and writes:
        now = ("Take it now" if reminder.limit_id else "Check now", to_do(reminder))
    if told.check:
        steps.append(("The check", reverse("check_detail", args=[told.check.pk])))
    if reading := told.reading or told.doubted:
        steps.append(("The reading", reverse("reading_detail", args=[reading.pk])))
    if excuses and told.status in (*OPEN, Status.MISSED):
        steps.append(("Excuse", reverse("reminder_excuse", args=[reminder.pk])))
    if excuses and told.excuse and told.status == Status.EXCUSED:
        steps.append(("Strike out", reverse("reminder_excuse", args=[reminder.pk])))
    return now, tuple(steps)


def to_do(reminder) -> str:
    """The very page on which it is done: one tap into the check, or into the reading form for the limit, or for the appliance."""
    if reminder.limit_id:
        return reading_url(reminder)
    return reverse(check_wanted(reminder.away).address, args=[reminder.probe_id])
