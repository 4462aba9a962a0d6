"""The guided zero-point check: one page, and a small post for each tap. Without scripts each tap is a plain form."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from compliance.metrology.bath import BathKind, Point
from compliance.probes.access import get_probe
from compliance.probes.models import Probe
from shared.units import Unit
from sites.models import Role

from .. import drafts
from ..forms import FinishForm
from ..guide import guide, timing
from ..models import Check, CheckDraft

FRAGMENT_GONE = 286  # tells the page to stop asking


@require_GET
def zero_check(request, pk):
    probe = get_probe(request.user, pk, Role.COOK)
    return _answer(request, probe, resume="go" in request.GET, whole=True)


@require_POST
def zero_check_start(request, pk):
    probe = get_probe(request.user, pk, Role.COOK)
    kind = BathKind.STIRRED_CUBES if request.POST.get("kind") == BathKind.STIRRED_CUBES else BathKind.PACKED_CRUSHED
    if request.POST.get("again"):
        drafts.drop(request.user, probe, request.POST["again"])
        return redirect("zero_check", pk)
    drafts.begin(request.user, probe, kind, drafts.likely_stage(probe), timezone.now())
    return _answer(request, probe)


@require_POST
def zero_check_point(request, pk):
    point = _point(request.POST.get("point"))
    state = request.POST.get("state", "done")
    return _tap(request, pk, lambda draft: drafts.mark(draft, point, state), keep=request.POST.get("value", ""))


@require_POST
def zero_check_about(request, pk):
    """Keep the stage, the note and the depth while they are being filled in."""
    answer = _tap(request, pk, lambda draft: None)
    return HttpResponse(status=204) if request.htmx else answer


@require_POST
def zero_check_insert(request, pk):
    return _tap(request, pk, lambda draft: drafts.insert(draft, timezone.now()))


@require_POST
def zero_check_take_out(request, pk):
    return _tap(request, pk, drafts.take_out)


@require_POST
def zero_check_read(request, pk):
    text, seen = request.POST.get("same") or request.POST.get("value", ""), _whole(request.POST.get("seen"))
    now = timezone.now()
    return _tap(request, pk, lambda draft: drafts.read(draft, text, draft.probe.site.unit, seen, now), keep=text)


@require_POST
def zero_check_take_back(request, pk):
    elapsed = _whole(request.POST.get("elapsed"))
    return _tap(request, pk, lambda draft: drafts.take_back(draft, elapsed))


@require_GET
def zero_check_now(request, pk):
    """The part of the page that changes by itself: how long the probe has been in, and what to do now."""
    probe = get_probe(request.user, pk, Role.COOK)
    draft = _draft(request, probe)
    if draft is None or draft.inserted_at is None:
        return HttpResponse(status=FRAGMENT_GONE)
    return render(request, "checks/zero/now.html", {"timing": timing(draft, timezone.now()), "probe": probe})


@require_POST
def zero_check_finish(request, pk):
    probe = get_probe(request.user, pk, Role.COOK)
    draft = _draft(request, probe)
    if draft is None:
        return _finished_before(request, probe)
    form = FinishForm(request.POST)
    try:
        if not form.is_valid():
            raise ValidationError([error for errors in form.errors.values() for error in errors])
        check = drafts.finish(drafts.tell(draft, **form.cleaned_data), request.user)
    except ValidationError as error:
        return _answer(request, probe, error=error, form=form)
    return redirect("check_detail", check.pk)


def _finished_before(request, probe: Probe) -> HttpResponse:
    """The second tap on Finish lands on the check that the first one made."""
    key = request.POST.get("key", "")
    check = Check.objects.filter(probe=probe, key=key).first() if _is_key(key) else None
    if check:
        return redirect("check_detail", check.pk)
    messages.warning(request, "That check was finished or given up meanwhile.")
    return redirect("zero_check", probe.pk)


def _tap(request, pk: int, act, keep: str = "") -> HttpResponse:
    """Do what a tap asks on the draft and show the page again; what was typed stays where it was refused."""
    probe = get_probe(request.user, pk, Role.COOK)
    draft = _draft(request, probe)
    if draft is None:
        messages.warning(request, "That check was finished or given up meanwhile.")
        return _answer(request, probe)
    try:
        _keep_about(request, draft)
        act(draft)
    except ValidationError as error:
        return _answer(request, probe, error=error, keep=keep)
    return _answer(request, probe, keep=keep if request.resolver_match.url_name != "zero_check_read" else "")


def _keep_about(request, draft: CheckDraft) -> None:
    """Each tap brings along what was typed elsewhere on the page, as far as it makes sense by now."""
    form = FinishForm(request.POST)
    form.is_valid()
    about = {name: value for name, value in form.cleaned_data.items() if name in request.POST}
    if about:
        drafts.tell(draft, **about)


def _draft(request, probe: Probe) -> CheckDraft | None:
    return CheckDraft.objects.select_related("probe__site").filter(person=request.user, probe=probe).first()


def _answer(request, probe: Probe, *, resume=True, whole=False, error=None, keep="", form=None) -> HttpResponse:
    """The page or, for HTMX, its changing part. A plain post that went well is followed by a redirect."""
    if not (whole or error or request.htmx):
        return redirect(reverse("zero_check", args=[probe.pk]) + "?go")
    draft, now = _draft(request, probe), timezone.now()
    context = {"probe": probe, "site": probe.site, "draft": draft, "error": error, "keep": keep}
    context["unit_label"] = Unit(probe.site.unit).label
    if draft is None:
        context |= {"phase": "start"}
    elif drafts.is_abandoned(draft, now) and not resume:
        context |= {"phase": "resume", "touched_at": drafts.touched_at(draft)}
    else:
        shown = guide(draft, now)
        context |= {"phase": "timing" if shown.timing else "prepare", "guide": shown, "timing": shown.timing}
        context["form"] = form or FinishForm(initial=_said(draft))
    part = request.htmx and not request.htmx.boosted
    return render(request, f"checks/zero/{'body' if part else 'page'}.html", context)


def _said(draft: CheckDraft) -> dict:
    return {"stage": draft.stage, "note": draft.note, "immersion_mm": draft.immersion_mm}


def _point(text: str | None) -> Point:
    try:
        return Point(text or "")
    except ValueError:
        raise Http404 from None


def _whole(text: str | None) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 10 else -1


def _is_key(text: str) -> bool:
    return len(text) == 36 and text.count("-") == 4 and all(c in "0123456789abcdef-" for c in text.lower())
