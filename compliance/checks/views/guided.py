"""The guided checks, at zero and at boiling: one page each, and a small post for each tap.

Every view takes the kind of check from its address. Without scripts each tap is a plain form.
"""

from enum import StrEnum

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from compliance.probes.access import get_probe
from compliance.probes.models import Probe
from shared.bounds import key_in, number_in
from shared.units import Unit, show
from sites.addresses import address
from sites.models import Role

from .. import drafts, together
from ..finished import bath_finished, one_finished
from ..forms import FinishForm
from ..guidance import GUIDANCE
from ..guide import guide, timing
from ..models import Check, CheckDraft, Kind, Verdict
from ..surroundings import keep, unfit_for_boiling
from ..surroundings_form import Air, air_initial

FRAGMENT_GONE = 286  # tells the page to stop asking
TAPS = ("start", "air", "point", "about", "insert", "take_out", "read", "take_back", "now", "finish")


@require_GET
def page(request, pk, kind):
    probe = get_probe(request.user, pk, Role.COOK)
    return _answer(request, probe, kind, resume="go" in request.GET, whole=True)


@require_POST
def start(request, pk, kind):
    probe = get_probe(request.user, pk, Role.COOK)
    if request.POST.get("again"):
        return _again(request, probe, kind)
    if not _unfit(probe, kind):
        way = GUIDANCE[kind].way(request.POST.get("kind"))
        drafts.begin(request.user, probe, way, drafts.likely_stage(probe), timezone.now(), kind)
    return _answer(request, probe, kind)


@require_POST
def air(request, pk, kind):
    """Where the air's pressure is known from; `again` asks once more."""
    if request.POST.get("again"):
        return _tap(request, pk, kind, lambda draft: drafts.tell(draft, surroundings={"before": _told_before(draft)}))
    form = Air(request.POST)
    if not form.is_valid():
        probe = get_probe(request.user, pk, Role.COOK)
        return _answer(request, probe, kind, air=form)
    kept = keep(form.surroundings(), *form.typed())
    return _tap(request, pk, kind, lambda draft: drafts.tell(draft, surroundings=kept))


@require_POST
def point(request, pk, kind):
    chosen = [_point(kind, text) for text in request.POST.getlist("point") or [None]]
    state, moment = request.POST.get("state", "done"), timezone.now()
    typed = request.POST.get("value", "")
    return _tap(request, pk, kind, lambda draft: _mark(draft, chosen, state, moment), keep=typed)


@transaction.atomic
def _mark(draft: CheckDraft, chosen: list[StrEnum], state: str, moment) -> None:
    for point in chosen:
        drafts.mark(draft, point, state, moment)


@require_POST
def about(request, pk, kind):
    """Keep the stage, the note and the depth while they are being filled in."""
    answer = _tap(request, pk, kind, lambda draft: None)
    return HttpResponse(status=204) if request.htmx else answer


@require_POST
def insert(request, pk, kind):
    return _tap(request, pk, kind, lambda draft: drafts.insert(draft, timezone.now()))


@require_POST
def take_out(request, pk, kind):
    return _tap(request, pk, kind, drafts.take_out)


@require_POST
def read(request, pk, kind):
    text, seen = request.POST.get("same") or request.POST.get("value", ""), _whole(request.POST.get("seen"))
    now = timezone.now()
    return _tap(
        request,
        pk,
        kind,
        lambda draft: drafts.read(draft, text, draft.probe.site.unit, seen, now),
        keep=text,
        reads=True,
    )


@require_POST
def take_back(request, pk, kind):
    elapsed = _whole(request.POST.get("elapsed"))
    return _tap(request, pk, kind, lambda draft: drafts.take_back(draft, elapsed))


@require_GET
def now(request, pk, kind):
    """The part of the page that changes by itself: how long the probe has been in, and what to do now."""
    probe = get_probe(request.user, pk, Role.COOK)
    draft, moment = _draft(request, probe, kind), timezone.now()
    if draft is None or draft.inserted_at is None:
        return HttpResponse(status=FRAGMENT_GONE)
    context = {"timing": timing(draft, moment), "probe": probe, "taps": _taps(probe, kind)}
    context["onward"] = together.onward(draft, moment)
    return render(request, "checks/guided/now.html", context | {"words": GUIDANCE[kind].words})


@require_POST
def finish(request, pk, kind):
    probe = get_probe(request.user, pk, Role.COOK)
    draft = _draft(request, probe, kind)
    if draft is None:
        return _finished_before(request, probe, kind)
    form = FinishForm(request.POST, guidance=GUIDANCE[kind])
    try:
        if not form.is_valid():
            raise ValidationError([error for errors in form.errors.values() for error in errors])
        check = drafts.finish(drafts.tell(draft, **form.cleaned_data), request.user)
    except ValidationError as error:
        check = Check.objects.filter(probe=probe, key=draft.key).first()  # by another tap at this very moment
        if check is None:
            return _answer(request, probe, kind, error=error, form=form)
    if onward := together.after(draft):
        messages.add_message(request, *one_finished(check))
        return redirect(onward)
    return redirect(_after_the_last(request, draft, check))


def _after_the_last(request, draft: CheckDraft, check: Check) -> str:
    """The check itself, which says what to do now; after a bath whose last probe passed the day of the site, for what is left."""
    made, own = together.made_in_bath_of(draft), reverse("check_detail", args=[check.pk])
    if len(made) < 2:
        return own
    messages.add_message(request, *bath_finished(made))
    passed = check.verdict == Verdict.IN_TOLERANCE
    return (passed and address("today_site", draft.probe.site_id)) or own


def _again(request, probe: Probe, kind: str) -> HttpResponse:
    """Forget a check in progress. One that shares its bath starts again in it, or leaves it to the next probe."""
    key, page = key_in(request.POST["again"]), redirect(GUIDANCE[kind].address, probe.pk)
    draft = _draft(request, probe, kind)
    if draft is None or draft.key != key or draft.together is None:
        drafts.drop(request.user, probe, key)
        return page
    if "afresh" in request.POST:
        together.afresh(draft, timezone.now())
        return page
    drafts.drop(request.user, probe, key)
    if onward := together.after(draft):
        messages.info(request, f"The check of probe {probe.code} is given up. It is still due.")
    return redirect(onward) if onward else page


def _finished_before(request, probe: Probe, kind: str) -> HttpResponse:
    """The second tap on Finish lands on the check that the first one made."""
    check = Check.objects.filter(probe=probe, key=key_in(request.POST.get("key"))).first()
    if check:
        return redirect("check_detail", check.pk)
    messages.warning(request, "That check was finished or given up meanwhile.")
    return redirect(GUIDANCE[kind].address, probe.pk)


def _tap(request, pk: int, kind: str, act, *, keep: str = "", reads: bool = False) -> HttpResponse:
    """Do what a tap asks on the draft and show the page again; what was typed stays where it was refused."""
    probe = get_probe(request.user, pk, Role.COOK)
    draft = _draft(request, probe, kind)
    if draft is None:
        messages.warning(request, "That check was finished or given up meanwhile.")
        return _answer(request, probe, kind)
    try:
        _keep_about(request, draft)
        act(draft)
    except ValidationError as error:
        return _answer(request, probe, kind, error=error, keep=keep)
    return _answer(request, probe, kind, keep="" if reads else keep)


def _keep_about(request, draft: CheckDraft) -> None:
    """Each tap brings along what was typed elsewhere on the page, as far as it makes sense by now."""
    form = FinishForm(request.POST)
    form.is_valid()
    told = {name: value for name, value in form.cleaned_data.items() if name in request.POST}
    if told:
        drafts.tell(draft, **told)


def _draft(request, probe: Probe, kind: str) -> CheckDraft | None:
    mine = CheckDraft.objects.filter(person=request.user, probe=probe, kind=kind)
    return mine.select_related("probe__site", "person").first()


def _answer(
    request, probe: Probe, kind: str, *, resume=True, whole=False, error=None, keep="", form=None, air=None
) -> HttpResponse:  # fmt: skip
    """The page or, for HTMX, its changing part. A plain post that went well is followed by a redirect."""
    guidance = GUIDANCE[kind]
    if not (whole or error or air or request.htmx):
        return redirect(reverse(guidance.address, args=[probe.pk]) + "?go")
    draft, now = _draft(request, probe, kind), timezone.now()
    context = {
        "probe": probe, "site": probe.site, "draft": draft, "error": error, "keep": keep, "kind": kind,
        "words": guidance.words, "title": f"{guidance.words.title}{probe.code}", "taps": _taps(probe, kind),
        "page_url": reverse(guidance.address, args=[probe.pk]), "unit_label": Unit(probe.site.unit).label,
        "start_template": f"checks/{kind}/start.html", "bath": together.bath_of(draft) if draft else [],
    }  # fmt: skip
    if draft is None:
        context |= {"phase": "start", "unfit": _unfit(probe, kind)}
    elif drafts.is_abandoned(draft, now) and not resume:
        context |= {"phase": "resume", "touched_at": drafts.touched_at(draft)}
    elif kind == Kind.BOILING and (air or "source" not in draft.surroundings):
        shown = air or Air(initial=air_initial(_told_before(draft), probe.site))
        context |= {"phase": "air", "air": shown, "hundred": show(100_000, probe.site.unit, 0)}
    else:
        shown, context["onward"] = guide(draft, now), together.onward(draft, now)
        context |= {"phase": "timing" if shown.timing else "prepare", "guide": shown, "timing": shown.timing}
        context["form"] = form or FinishForm(initial=_said(draft), guidance=guidance)
    context["back_url"], context["back_label"] = _back(probe, context["bath"])
    part = request.htmx and not request.htmx.boosted
    return render(request, f"checks/guided/{'body' if part else 'page'}.html", context)


def _back(probe: Probe, bath: list) -> tuple[str, str]:
    today = address("today_site", probe.site_id) if bath else None
    return (today, "Today") if today else (reverse("probe_detail", args=[probe.pk]), f"Probe {probe.code}")


def _unfit(probe: Probe, kind: str) -> str:
    return unfit_for_boiling(probe) if kind == Kind.BOILING else ""


def _told_before(draft: CheckDraft) -> dict:
    """What was said of the air before it was asked once more."""
    return draft.surroundings.get("before", draft.surroundings)


def _taps(probe: Probe, kind: str) -> dict[str, str]:
    names = TAPS if kind == Kind.BOILING else [tap for tap in TAPS if tap != "air"]
    return {tap: reverse(f"{GUIDANCE[kind].address}_{tap}", args=[probe.pk]) for tap in names}


def _said(draft: CheckDraft) -> dict:
    return {"stage": draft.stage, "note": draft.note, "immersion_mm": draft.immersion_mm}


def _point(kind: str, text: str | None) -> StrEnum:
    try:
        return GUIDANCE[kind].point(text)
    except ValueError:
        raise Http404 from None


def _whole(text: str | None) -> int:
    found = number_in(text)
    return -1 if found is None else found
