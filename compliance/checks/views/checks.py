"""One check with its verdict and figures; voiding and correcting it; entering one that was made elsewhere."""

from dataclasses import replace
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from compliance.probes.access import get_probe
from shared.forms import attempt
from sites.access import may, people_at
from sites.addresses import address
from sites.models import Role

from .. import actions
from ..access import get_check
from ..check_page import told
from ..failed_page import fit_here
from ..forms import CheckVoidForm, paper_form
from ..kinds import KINDS, kind_of
from ..models import Verdict


@require_GET
def check_detail(request, pk):
    check = get_check(request.user, pk)
    context = told(check.of_its_time()) | {
        "strikes": may(request.user, check.site, Role.SUPERVISOR) and not hasattr(check, "void"),
        "print_url": address("check_print", pk),
        "open_figures": "figures" in request.GET,
        "tag_url": address("probe_tag", check.probe_id),
        "today_url": address("today_site", check.probe.site_id),
        "checks_again": may(request.user, check.probe.site, Role.COOK),
        "fit_here": fit_here(check.probe) if check.verdict == Verdict.OUT_OF_TOLERANCE else [],
    }
    return render(request, "checks/check_detail.html", context)


def check_void(request, pk):
    check = get_check(request.user, pk, Role.SUPERVISOR)
    form = CheckVoidForm(request.POST or None)
    reason = form.cleaned_data["reason"] if form.is_valid() else ""
    if reason and attempt(form, actions.void_check, by=request.user, check=check, reason=reason):
        messages.success(request, "The check is void. It stays readable, and the timeline is cut again.")
        return redirect("check_detail", pk)
    return render(request, "checks/check_void.html", _asked(check, form))


def check_correct(request, pk):
    check = get_check(request.user, pk, Role.SUPERVISOR)
    if hasattr(check, "void"):
        messages.info(request, "This check is struck out already; nothing was changed.")
        return redirect("check_detail", pk)
    form = _correction(check, request.POST or None)
    if form.is_valid():
        new = _corrected(request.user, check, form)
        if new:
            messages.success(request, "Corrected. The check as it was first written stays readable beside this one.")
            return redirect("check_detail", new.pk)
    return render(request, "checks/check_correct.html", _asked(check, form))


def _asked(check, form) -> dict:
    return {
        "check": check,
        "probe": check.probe,
        "site": check.site,
        "form": form,
        "back_url": reverse("check_detail", args=[check.pk]),
    }


def _correction(check, data):
    kind = kind_of(check)
    return kind.correction(data, site=check.site, initial=kind.initial(check))


def _attempt(form, act, **given):
    """Whoever finds that the key of a form was used for another check may save this one under a fresh key."""
    made = attempt(form, act, **given)
    if made is None and form.has_error(NON_FIELD_ERRORS, "already_sent"):
        form.data = form.data.copy()
        form.data["key"] = str(uuid4())
    return made


def _corrected(by, check, form):
    reason = form.cleaned_data["reason"]
    return _attempt(form, actions.correct, by=by, check=check, reason=reason, data=form.check_data())


def check_paper(request, pk, kind):
    """Enter a guided check from paper: under who made it, at its time; who entered it and when stands beside it."""
    probe, kind = get_probe(request.user, pk, Role.MANAGER), KINDS[kind]
    given = {"site": probe.site, "people": people_at(probe.site), "usual": kind.guidance.usual.value}
    form = paper_form(kind.correction, request.POST or None, **given)
    if form.is_valid():
        data = replace(form.check_data(), checked_by=form.cleaned_data["checked_by"])
        check = _attempt(form, actions.record, by=request.user, probe=probe, data=data)
        if check:
            messages.success(request, "Entered from paper. It stands at its own time, and the timeline is cut again.")
            return redirect("check_detail", check.pk)
    told = {
        "title": f"{kind.title.format(probe.code)}, from paper",
        "lead": probe.site.name,
        "submit_label": "Enter it",
    }
    back = reverse("probe_detail", args=[pk])
    told |= {"form": form, "back_url": back, "cancel_url": back, "back_label": f"Probe {probe.code}"}
    return render(request, "components/confirm.html", told)


def check_add(request, pk, kind):
    """Enter a check that was made elsewhere."""
    probe, kind = get_probe(request.user, pk, Role.MANAGER), KINDS[kind]
    initial = {"stage": "as_found", "checked_at": timezone.now()}
    form = kind.form(request.POST or None, site=probe.site, initial=initial)
    if form.is_valid():
        check = _attempt(form, actions.record, by=request.user, probe=probe, data=form.check_data())
        if check:
            return redirect("check_detail", check.pk)
    context = {"probe": probe, "form": form, "back_url": reverse("probe_detail", args=[pk])}
    return render(request, f"checks/{kind.value}_add.html", context)
