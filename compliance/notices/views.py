"""One's notices, what one wants to be told, what became of the mail, and the calendar feeds of a site."""

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import conditional_page, require_http_methods, require_POST, require_safe

from shared.bounds import number_in
from shared.forms import attempt, tell
from shared.keyset import page_by_key
from shared.plurals import plural
from shared.stale_forms import newest
from sites.access import areas_of, get_site, sites_of
from sites.models import Role

from . import actions
from .access import get_failed, get_feed_key, get_own
from .calendar_entries import entries
from .forms import ChoicesForm, FeedForm
from .ical import calendar, digest_of
from .models import FeedKey, State
from .queries import inbox, mail_of, quiet_hours, unread, wishes, with_places
from .reading import mark_read
from .tables import PostTable, inbox_rows
from .wording import absolute

FORM = ["GET", "HEAD", "POST"]
FRESH = 300  # seconds for which a calendar program need not ask again


@require_safe
def notice_list(request: HttpRequest) -> HttpResponse:
    """What the person who asks has been told, newest first."""
    page = page_by_key(with_places(inbox(request.user)), request, "made_at")
    context = {
        "items": inbox_rows(page.rows),
        "pager": page,
        "unread": unread(request.user),
        "tabs": _tabs(request, "notice_list"),
        "newest": newest(inbox(request.user)),
    }
    return render(request, "notices/notice_list.html", context)


def _tabs(request: HttpRequest, current: str) -> list[dict]:
    pages = [("notice_list", "Notices", ""), ("notice_choices", "What you are told", "")]
    if supervises(request.user):
        failed = mail_of(request.user).filter(state=State.FAILED).count()
        pages.append(("notice_post", "Mail", plural(failed, "not sent", "not sent") if failed else ""))
    return [
        {"label": label, "url": reverse(name), "current": name == current, "count": count}
        for name, label, count in pages
    ]


def supervises(person) -> bool:
    return areas_of(person).exists() or sites_of(person, Role.SUPERVISOR).exists()


@require_POST
def notice_read(request: HttpRequest, pk: int) -> HttpResponse:
    """Read; with `open`, on to what it is about."""
    notice = get_own(request.user, pk)
    mark_read(by=request.user, pk=notice.pk)
    return redirect(notice.link if request.POST.get("open") else "notice_list")


@require_POST
def notice_read_all(request: HttpRequest) -> HttpResponse:
    """Those that the page knew of: what came in since has not been seen."""
    mark_read(by=request.user, until=number_in(request.POST.get("until")))
    return redirect("notice_list")


@require_http_methods(FORM)
def notice_choices(request: HttpRequest) -> HttpResponse:
    known = wishes(request.user)
    form = ChoicesForm(request.POST or None, known=known, quiet=quiet_hours(request.user))
    if form.is_valid():
        attempt(form, actions.choose, by=request.user, **form.chosen())
        if not form.errors:
            messages.success(request, "Saved.")
            return redirect("notice_choices")
    context = {
        "form": form,
        "known": known,
        "mail_works": settings.MAIL_WORKS,
        "tabs": _tabs(request, "notice_choices"),
    }
    return render(request, "notices/notice_choices.html", context)


@require_safe
def notice_post(request: HttpRequest) -> HttpResponse:
    """What became of the mail about the sites that one supervises; by default, what could not be sent comes alone."""
    if not supervises(request.user):
        raise PermissionDenied(f"This needs the role of {Role.SUPERVISOR.label}.")
    found, failed = mail_of(request.user), request.GET.get("show") == State.FAILED
    count = found.filter(state=State.FAILED).count()
    page = page_by_key(with_places(found.filter(state=State.FAILED) if failed else found), request, "made_at")
    table = PostTable(page.rows, request=request)
    table.pager = page
    own = reverse("notice_post")
    shown = [
        {"label": "All", "url": own, "current": not failed},
        {"label": "Not sent", "url": f"{own}?show={State.FAILED}", "current": failed, "count": count or ""},
    ]
    context = {"table": table, "shown": shown, "tabs": _tabs(request, "notice_post"), "mail_works": settings.MAIL_WORKS}
    return render(request, "notices/notice_post.html", context)


@require_POST
def notice_again(request: HttpRequest, pk: int) -> HttpResponse:
    notice = get_failed(request.user, pk)
    tell(request, "It is tried again within a minute.", actions.send_again, notice=notice)
    return redirect("notice_post")


@never_cache
@require_http_methods(FORM)
def feed_list(request: HttpRequest, pk: int) -> HttpResponse:
    """The addresses of a site's calendar. A new one is shown once: in the answer itself, for its secret is kept nowhere."""
    site, once = get_site(request.user, pk, Role.MANAGER), ""
    form = FeedForm(request.POST or None, initial={"after": newest(FeedKey.objects.filter(site=site))})
    if form.is_valid():
        made = attempt(form, actions.open_feed, by=request.user, site=site, **form.cleaned_data)
        if made:
            form, once = FeedForm(initial={"after": made[0].pk}), absolute(reverse("feed", args=[made[1]]))
    keys = FeedKey.objects.filter(site=site).prefetch_related("made_by__names", "revoked_by__names")
    return render(request, "notices/feed_list.html", {"site": site, "form": form, "keys": keys, "once": once})


@require_POST
def feed_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    key = get_feed_key(request.user, pk)
    tell(request, f"The address for {key} shows nothing any more.", actions.revoke_feed, key=key)
    return redirect("feed_list", key.site_id)


@login_not_required
@cache_control(private=True, max_age=FRESH)
@require_safe
@conditional_page
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """A calendar program asks without signing in: the secret is the door. 404 for one that is unknown or revoked.

    Whoever has what it shows already is told so with 304 (RFC 9110, 13.1.2).
    """
    live = FeedKey.objects.filter(digest=digest_of(secret), revoked_at=None)
    key = live.select_related("site__area").first()
    if key is None:
        raise Http404
    shown = entries(key.site, timezone.now(), key.shows)
    content = calendar(key.site.name, key.site_id, key.site.time_zone, _namespace(), shown)
    answer = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    answer["X-Robots-Tag"] = "noindex"
    answer["Content-Disposition"] = 'inline; filename="due.ics"'
    return answer


def _namespace() -> UUID:
    """Of this installation and no other, so that the same numbers elsewhere name other events."""
    return UUID(bytes=salted_hmac("notices.feeds", "uid", algorithm="sha256").digest()[:16])
