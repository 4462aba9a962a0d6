"""The end of a guided check: finished, given up, or begun again."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
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
        check = drafts.finish(draft, request.user, request.POST.get("no_figure", ""))
    except ValidationError as error:
        check = Check.objects.filter(probe=probe, key=draft.key).first()  # by another tap at this very moment
        if check is None:
            return answer(request, probe, kind, Shown(error=error, form=form))
    if onward := shared_bath.after(draft):
        messages.add_message(request, *one_finished(check))
        return redirect(onward)
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
