"""The end of a guided check: finished, alone or with all of its bath, given up, or begun again."""

from enum import StrEnum

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from compliance.probes.models import Probe
from shared.bounds import key_in
from shared.reasons import as_reason
from sites.addresses import address

from .. import drafts, shared_bath, unfinished
from ..completion_messages import MEANWHILE, bath_finished, kept_in_words, one_finished
from ..forms import FinishForm
from ..kinds import GUIDANCE
from ..models import Check, CheckDraft, Verdict
from .guided_page import Shown, answer, draft_of, probe_to_check, tapped


@require_POST
def finish(request, pk, kind):
    probe = probe_to_check(request, pk)
    draft = tapped(request, probe, kind)
    if draft is None:
        return _finished_before(request, probe, kind)
    form = FinishForm(request.POST, depth=GUIDANCE[kind].words.depth)
    try:
        if not form.is_valid():
            raise ValidationError([error for errors in form.errors.values() for error in errors])
        draft = drafts.tell(draft, **form.cleaned_data)
        if said := confirmed_in(request, kind):
            drafts.confirm(draft, said)
        check = drafts.finish(draft, request.user, request.POST.get("no_figure", ""))
    except ValidationError as error:
        check = Check.objects.filter(probe=probe, key=draft.key).first()  # by another tap at this very moment
        if check is None:
            return answer(request, probe, kind, Shown(error=error, form=form))
    if onward := shared_bath.after(draft):
        messages.add_message(request, *one_finished(check))
        return redirect(onward)
    return redirect(_after_the_last(request, draft, check))


def confirmed_in(request, kind: str) -> list[StrEnum]:
    """What the button that finishes says of the preparation."""
    try:
        return [GUIDANCE[kind].point(text) for text in request.POST.get("confirmed", "").split()]
    except ValueError:
        raise Http404 from None


@require_POST
def bath(request, pk, kind):
    """Said with one tap of several probes in one bath: that each was seen to fall, or that one was not; or finish them."""
    probe = probe_to_check(request, pk)
    draft, said = tapped(request, probe, kind), request.POST.get("say")
    if draft is None or draft.together is None:
        return _finished_before(request, probe, kind)
    confirmed, chosen = confirmed_in(request, kind), shared_bath.chosen(draft, request.POST.getlist("draft"))
    if said in SAID_OF_FALL:
        for each in chosen:
            drafts.mark(each, [GUIDANCE[kind].moved], SAID_OF_FALL[said], timezone.now())
        return answer(request, probe, kind)
    return _finish_all(request, draft, chosen, confirmed)


SAID_OF_FALL = {"fell": "done", "stood": "left"}


def _finish_all(request, draft: CheckDraft, chosen: list[CheckDraft], confirmed: list[StrEnum]) -> HttpResponse:
    """One after the other, each in its own transaction: what cannot be finished holds up no other."""
    check, refused = None, None
    for each in chosen:
        try:
            if confirmed:
                drafts.confirm(each, confirmed)
            check = drafts.finish(each, request.user)
        except ValidationError as error:
            refused = each
            messages.error(request, f"{each.probe.code}: {error.messages[0]}")
    if check is None:
        return redirect(GUIDANCE[draft.kind].address, draft.probe_id)
    if refused or shared_bath.after(draft):
        for made in shared_bath.made_in_bath_of(draft):
            messages.add_message(request, *one_finished(made))
        return redirect(shared_bath.after(draft))
    return redirect(_after_the_last(request, draft, check))


def _after_the_last(request, draft: CheckDraft, check: Check) -> str:
    """The check itself, which says what to do now; after a bath whose last probe passed the day of the site, for what is left."""
    made, own = shared_bath.made_in_bath_of(draft), reverse("check_detail", args=[check.pk])
    if len(made) < 2:
        return own
    messages.add_message(request, *bath_finished(made))
    passed = check.verdict == Verdict.IN_TOLERANCE
    return (passed and address("today_site", draft.probe.site_id)) or own


def again(request, probe: Probe, kind: str) -> HttpResponse:
    """End a check in progress. One that shares its bath starts again in it, or leaves it to the next probe."""
    key, page = key_in(request.POST["again"]), redirect(GUIDANCE[kind].address, probe.pk)
    draft = draft_of(request, probe, kind)
    shared = draft is not None and draft.key == key and draft.together is not None
    if shared and "afresh" in request.POST and draft.outside_since is None:
        shared_bath.afresh(draft, timezone.now())
        return page
    try:
        reason = as_reason(request.POST.get("why", ""), "")
    except ValidationError as error:
        return answer(request, probe, kind, Shown(error=error))
    try:
        kept = unfinished.give_up(by=request.user, probe=probe, key=key, reason=reason) if key else None
    except ValidationError:  # finished by another tap at this very moment
        kept = Check.objects.filter(probe=probe, key=key).first()
    if kept:
        messages.warning(request, kept_in_words(kept))
    onward = shared_bath.after(draft) if shared else ""
    if onward and not kept:
        messages.info(request, f"The check of probe {probe.code} is given up. It is still due.")
    return redirect(onward) if onward else page


def _finished_before(request, probe: Probe, kind: str) -> HttpResponse:
    """The second tap on Finish lands on the check that the first one made."""
    check = Check.objects.filter(probe=probe, key=key_in(request.POST.get("key"))).first()
    if check:
        return redirect("check_detail", check.pk)
    messages.warning(request, MEANWHILE)
    return redirect(GUIDANCE[kind].address, probe.pk)
