"""What happened to a probe: adding it, and putting it right."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse

from compliance.probes.access import get_probe
from compliance.probes.models import ALTERATIONS, EventKind
from shared.forms import attempt
from sites.models import Role

from .. import actions
from ..access import get_event
from ..forms import EventForm, EventVoidForm
from ..queries import is_let_be
from .probes import WAITS

ALTERED = (
    "An adjustment that no check as found came before puts what was read since the last good check in quarantine. "
    "Check it now, as left, before it is used."
)
GONE = (
    "It can never be checked again, so what was read with it since its last good check is in quarantine: hold that food, "
    "and decide on those readings."
)


def event_add(request, pk):
    probe = get_probe(request.user, pk, Role.COOK)
    form = EventForm(request.POST or None, site=probe.site, initial={"kind": request.GET.get("kind")})
    if form.is_valid():
        event = attempt(form, actions.record_event, by=request.user, probe=probe, **form.cleaned_data)
        if event:
            _say_what_follows(request, event)
            return redirect("probe_detail", pk)
    return render(request, "checks/event_add.html", {"probe": probe, "form": form, "back_url": _back(probe)})


def _say_what_follows(request, event) -> None:
    messages.success(request, f"Recorded: {event.get_kind_display()}.")
    if event.kind == EventKind.GONE:
        messages.warning(request, GONE)
    elif event.kind in ALTERATIONS:
        messages.warning(request, ALTERED)
    elif event.kind == EventKind.WITHDRAWN:
        if not is_let_be(event.probe):
            messages.warning(request, WAITS)
    else:
        messages.info(request, "A check is due now, before it is used again.")


def event_void(request, pk):
    event = get_event(request.user, pk, Role.SUPERVISOR)
    probe = event.probe
    given = {"kind": event.kind, "at": event.at, "note": event.note}
    form = EventVoidForm(request.POST or None, site=probe.site, initial=given)
    if form.is_valid():
        about = {"event": event, "reason": form.cleaned_data["reason"], **_replacement(form)}
        if attempt(form, actions.void_event, by=request.user, **about):
            messages.success(request, "Struck out. It stays readable, with your reason, and the timeline is cut again.")
            return redirect("probe_detail", probe.pk)
    return render(
        request, "checks/event_void.html", {"event": event, "probe": probe, "form": form, "back_url": _back(probe)}
    )


def _replacement(form) -> dict:
    data = form.cleaned_data
    if not data["replace"]:
        return {}
    return {"replacement_kind": data["kind"], "replacement_at": data["at"], "replacement_note": data["note"]}


def _back(probe) -> str:
    return reverse("probe_detail", args=[probe.pk])
