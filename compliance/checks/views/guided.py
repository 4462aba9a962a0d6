"""The guided checks: a page for each kind, and a small post for each tap.

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
from django_htmx.http import HttpResponseClientRedirect

from compliance.metrology.air_pressure import PressureLevel
from compliance.probes.access import get_probe
from compliance.probes.models import Probe
from shared import kept_pages
from shared.bounds import number_in
from shared.units import Unit
from sites.models import Role

from .. import drafts, shared_bath
from ..completion_messages import MEANWHILE
from ..forms import FinishForm
from ..guide import guide
from ..kinds import GUIDANCE, KINDS, USUAL
from ..models import CheckDraft
from ..surroundings import keep
from ..surroundings_form import Air
from .guided_end import again
from .guided_page import Shown, answer, draft_of, probe_to_check, tapped, taps_of, told_before


@require_GET
def page(request, pk, kind):
    probe = probe_to_check(request, pk)
    shown = answer(request, probe, kind, Shown(resume="go" in request.GET, whole=True))
    return kept_pages.keep(shown, reverse("zero_check_whole", args=[pk])) if kind == USUAL.value else shown


@require_POST
def start(request, pk, kind):
    """Begin a check, with what is said to be done by then; where one was begun already, that goes on as it is."""
    probe = probe_to_check(request, pk)
    if request.POST.get("again"):
        return again(request, probe, kind)
    said = _points(request, kind)
    if not KINDS[kind].unfit(probe) and drafts.find(request.user, probe, kind) is None:
        _begin(request, probe, kind, said)
    return answer(request, probe, kind)


@transaction.atomic
def _begin(request, probe: Probe, kind: str, said: list[StrEnum]) -> None:
    way, now = GUIDANCE[kind].way(request.POST.get("kind")), timezone.now()
    draft = drafts.begin(request.user, probe, way, drafts.likely_stage(probe), now, kind)
    if "in" in request.POST:
        drafts.insert(draft, now, said)
    elif said:
        drafts.mark(draft, said, request.POST.get("state", "done"), now)


@require_POST
def air(request, pk, kind):
    """Where the air's pressure is known from, and which one it is, where it may be either; `again` asks once more."""
    if request.POST.get("again"):
        return _tap(request, pk, kind, lambda draft: drafts.tell(draft, surroundings={"before": told_before(draft)}))
    if "pressure_level" in request.POST:
        level = _level(request.POST["pressure_level"])
        return _tap(request, pk, kind, lambda draft: drafts.say_level(draft, level))
    form = Air(request.POST)
    if not form.is_valid():
        return answer(request, probe_to_check(request, pk), kind, Shown(air=form))
    kept = keep(form.surroundings(), *form.typed())
    return _tap(request, pk, kind, lambda draft: drafts.tell(draft, surroundings=kept))


@require_POST
def point(request, pk, kind):
    chosen = _points(request, kind) or [_point(kind, None)]
    state, moment = request.POST.get("state", "done"), timezone.now()
    typed = request.POST.get("value", "")
    return _tap(request, pk, kind, lambda draft: drafts.mark(draft, chosen, state, moment), keep=typed)


@require_POST
def about(request, pk, kind):
    """Keep the stage, the note and the depth while they are being filled in."""
    shown = _tap(request, pk, kind, lambda draft: None)
    return HttpResponse(status=204) if request.htmx else shown


@require_POST
def insert(request, pk, kind):
    said = _points(request, kind)
    return _tap(request, pk, kind, lambda draft: drafts.insert(draft, timezone.now(), said), onward=shared_bath.next_in)


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
        lambda draft: drafts.read(draft, text, seen, now),
        keep=text,
        onward=shared_bath.next_to_read,
    )


@require_POST
def unit(request, pk, kind):
    """Which unit the display shows; `again` asks once more."""
    chosen = None if request.POST.get("again") else request.POST.get("unit", "")
    if chosen not in (None, *Unit.values):
        raise Http404
    return _tap(request, pk, kind, lambda draft: drafts.say_unit(draft, chosen))


@require_POST
def take_back(request, pk, kind):
    elapsed = _whole(request.POST.get("elapsed"))
    return _tap(request, pk, kind, lambda draft: drafts.take_back(draft, elapsed))


@require_GET
def now(request, pk, kind):
    """The part of the page that changes by itself: how long the probe has been in, and what to do now.

    The page runs the clock, and asks when its hint changes or somebody comes back to it. What counts are the times of taps.
    """
    probe = get_probe(request.user, pk, Role.COOK)
    draft, moment = draft_of(request, probe, kind), timezone.now()
    if draft is None or draft.inserted_at is None:
        return HttpResponse(status=204)
    guided = guide(draft, moment)
    context = {"guide": guided, "timing": guided.timing, "probe": probe, "taps": taps_of(probe, kind, draft)}
    context["onward"] = shared_bath.onward(draft, shared_bath.fellows_of(draft), moment)
    return render(request, "checks/guided/now.html", context | {"words": GUIDANCE[kind].words})


def _tap(request, pk: int, kind: str, act, *, keep: str = "", onward=None) -> HttpResponse:
    """Do what a tap asks on the draft and show the page again; what was typed stays where it was refused.

    `onward`: of a tap that takes what was typed; it finds the page of another probe in the same bath that is to be seen to now,
    empty where this one is.
    """
    probe = probe_to_check(request, pk)
    draft = tapped(request, probe, kind)
    if draft is None:
        lost = f" “{keep[:20]}” was not noted." if keep else ""
        messages.warning(request, f"{MEANWHILE}{lost}")
        return answer(request, probe, kind)
    try:
        _keep_about(request, draft)
        act(draft)
    except ValidationError as error:
        return answer(request, probe, kind, Shown(error=error, keep=keep))
    if onward and (page := onward(draft)):
        return HttpResponseClientRedirect(page) if request.htmx else redirect(page)
    return answer(request, probe, kind, Shown(keep="" if onward else keep))


def _keep_about(request, draft: CheckDraft) -> None:
    """Each tap brings along what was typed elsewhere on the page, as far as it makes sense by now."""
    form = FinishForm(request.POST)
    form.is_valid()
    told = {name: value for name, value in form.cleaned_data.items() if name in request.POST}
    if told:
        drafts.tell(draft, **told)


def _points(request, kind: str) -> list[StrEnum]:
    return [_point(kind, text) for text in request.POST.getlist("point")]


def _point(kind: str, text: str | None) -> StrEnum:
    try:
        return GUIDANCE[kind].point(text)
    except ValueError:
        raise Http404 from None


def _level(text: str) -> PressureLevel | None:
    """The answer; None, for an empty one, asks again."""
    try:
        return PressureLevel(text) if text else None
    except ValueError:
        raise Http404 from None


def _whole(text: str | None) -> int:
    found = number_in(text)
    return -1 if found is None else found
