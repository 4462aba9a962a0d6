"""What the page of a guided check shows, for its views."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import CharField
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from compliance.probes.access import get_probe
from compliance.probes.models import Probe
from shared.bounds import key_in
from shared.prepared import Prepared, Slot
from shared.units import Unit, show
from sites.addresses import address
from sites.models import Role

from .. import draft_numbers, drafts, shared_bath, unfinished
from ..completion_messages import kept_in_words
from ..forms import FinishForm
from ..guide import Guide, guide
from ..kinds import GUIDANCE, KINDS, KindOfCheck
from ..models import CheckDraft, NoFigure
from ..surroundings_form import Air, air_initial

TAPS = ("start", "air", "point", "about", "insert", "take_out", "read", "unit", "take_back", "now", "finish", "bath")


def probe_to_check(request, pk: int) -> Probe:
    """The probe, to be checked; whatever was left unfinished with it is kept first, by whomever it was begun."""
    probe = get_probe(request.user, pk, Role.COOK)
    for check in unfinished.store_left(timezone.now(), probe):
        messages.warning(request, kept_in_words(check))
    return probe


_BEGUN = Prepared(
    lambda: CheckDraft.objects.filter(
        person=Slot("person"), probe=Slot("probe"), kind=Slot("kind", CharField())
    ).select_related("probe__site", "person")
)


def draft_of(request, probe: Probe, kind: str) -> CheckDraft | None:
    found = _BEGUN.objects(person=request.user.pk, probe=probe.pk, kind=kind)
    return found[0] if found else None


def tapped(request, probe: Probe, kind: str) -> CheckDraft | None:
    """The check in progress, if it is the one of the page that was tapped: an older page does nothing to another check."""
    draft, shown = draft_of(request, probe, kind), request.GET.get("of")
    return draft if draft and (shown is None or key_in(shown) == draft.key) else None


@dataclass(frozen=True, slots=True)
class Shown:
    """How the page is shown again: the `whole` of it, going on without being asked (`resume`); what was refused and typed."""

    resume: bool = True
    whole: bool = False
    error: ValidationError | None = None
    keep: str = ""
    form: FinishForm | None = None
    air: Air | None = None


AFTER_A_TAP = Shown()


def answer(request, probe: Probe, kind: str, shown: Shown = AFTER_A_TAP) -> HttpResponse:
    """The page or, for HTMX, its changing part. A plain post that went well is followed by a redirect."""
    guidance = GUIDANCE[kind]
    if not (shown.whole or shown.error or shown.air or request.htmx):
        return redirect(reverse(guidance.address, args=[probe.pk]) + "?go")
    draft, now = draft_of(request, probe, kind), timezone.now()
    fellows = shared_bath.fellows_of(draft) if draft else []
    context = {
        "probe": probe,
        "site": probe.site,
        "draft": draft,
        "error": shown.error,
        "keep": shown.keep,
        "kind": kind,
        "words": guidance.words,
        "title": f"{guidance.words.title}{probe.code}",
        "taps": taps_of(probe, kind, draft),
        "page_url": reverse(guidance.address, args=[probe.pk]),
        "unit_label": Unit(draft_numbers.unit_of(draft) if draft else probe.site.unit).label,
        "start_template": f"checks/{kind}/start.html",
        "bath": shared_bath.bath_of(draft, fellows) if draft else [],
    }
    if draft is None:
        context |= {"phase": "start", "unfit": KINDS[kind].unfit(probe)}
        context["begins"] = begins(request, probe, kind)
    elif drafts.is_abandoned(draft, now) and not shown.resume:
        context |= {"phase": "resume", "touched_at": drafts.touched_at(draft)}
    elif KINDS[kind].asks_air and (shown.air or "source" not in draft.surroundings):
        air = shown.air or Air(initial=air_initial(told_before(draft), probe.site))
        context |= {"phase": "air", "air": air, "hundred": show(100_000, probe.site.unit, 0)}
    else:
        guided, context["onward"] = guide(draft, now), shared_bath.onward(draft, fellows, now)
        context |= {"phase": "timing" if guided.timing else "prepare", "guide": guided, "timing": guided.timing}
        context |= {"bath_end": shared_bath.end_of(draft, fellows), "no_figures": NoFigure.choices}
        context["form"] = shown.form or FinishForm(initial=_said(draft), depth=guidance.words.depth)
    context["back_url"], context["back_label"] = _back(probe, context["bath"])
    part = request.htmx and not request.htmx.boosted
    return render(request, f"checks/guided/{'body' if part else 'page'}.html", context)


def begins(request, probe: Probe, kind: str) -> list[Guide]:
    """How each way of making it would begin; nothing is kept of it yet."""
    guidance, now = GUIDANCE[kind], timezone.now()
    drafts_of_ways = (
        CheckDraft(
            probe=probe,
            person=request.user,
            kind=kind,
            started_at=now,
            preparation={"kind": way, "points": [], "left": []},
        )
        for way in guidance.before
    )
    return [guide(draft, now) for draft in drafts_of_ways]


def _back(probe: Probe, bath: list) -> tuple[str, str]:
    today = address("today_site", probe.site_id) if bath else None
    return (today, "Today") if today else (reverse("probe_detail", args=[probe.pk]), f"Probe {probe.code}")


def told_before(draft: CheckDraft) -> dict:
    """What was said of the air before it was asked once more."""
    return draft.surroundings.get("before", draft.surroundings)


def taps_of_kind(kind: KindOfCheck) -> list[str]:
    """Only at boiling the air is asked for, and only a kind whose bath is shared finishes several at once."""
    missing = {"air": kind.asks_air, "bath": bool(kind.guidance.bath)}
    return [tap for tap in TAPS if missing.get(tap, True)]


def taps_of(probe: Probe, kind: str, draft: CheckDraft | None) -> dict[str, str]:
    """Where each tap goes; it says of which check."""
    of = f"?of={draft.key}" if draft else ""
    names = taps_of_kind(KINDS[kind])
    return {tap: reverse(f"{GUIDANCE[kind].address}_{tap}", args=[probe.pk]) + of for tap in names}


def _said(draft: CheckDraft) -> dict:
    return {"stage": draft.stage, "note": draft.note, "immersion_mm": draft.immersion_mm}
