"""Choosing a record and printing it. Printing reads and writes nothing.

What prints is heavy, and loaded with the first print.
"""

import tempfile
from collections.abc import Callable
from typing import BinaryIO

from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from compliance.checks.access import get_check
from compliance.plans.calendar import local_day
from compliance.probes.access import get_probe
from compliance.quarantine.access import get_case
from compliance.reminders.forms import DayForm
from shared.request_slots import HEAVY, few
from sites.access import get_site
from sites.models import Site

from .access import get_site_to_print
from .asked import RecordRequest
from .forms import RecordForm
from .scope import RecordScope

IN_MEMORY = 2 * 1024 * 1024


@require_safe
def record_form(request: HttpRequest) -> HttpResponse:
    """Site, period and paper; the answer is the record itself."""
    form = RecordForm(person=request.user, initial={"period": "week", "site": request.GET.get("site")})
    return _form_page(request, form)


@require_safe
@few(HEAVY, "printing")
def record_print(request: HttpRequest) -> HttpResponse:
    """The record as a PDF, of one site or of several, or the form again where the period cannot be."""
    from .several import write_records

    return _answer(request, lambda asked: pdf(lambda out: write_records(out, asked), f"{asked.file_name}.pdf"))


@require_safe
@few(HEAVY, "printing")
def record_haccp(request: HttpRequest) -> HttpResponse:
    """The limits of a period with their monitoring, corrective action and verification, on a page or two."""
    from .haccp import write_haccp

    return _answer_of_one(request, lambda scope, name: pdf(lambda out: write_haccp(out, scope), f"haccp-{name}.pdf"))


@require_safe
@few(HEAVY, "printing")
def record_data(request: HttpRequest) -> HttpResponse:
    """The same as data: JSON with its schema, and CSV files, in one zip."""
    from .twin.writing import zip_twin

    return _answer_of_one(request, lambda scope, name: packed(lambda out: zip_twin(out, scope), f"{name}.zip"))


def _answer(request: HttpRequest, write: Callable[[RecordRequest], HttpResponse], *, one: bool = False) -> HttpResponse:
    """What is written of the sites and the period that are asked for, or the form again where that cannot be."""
    if request.GET.get("site"):
        get_site_to_print(request.user, request.GET["site"])
    form = RecordForm(request.GET, person=request.user)
    if form.is_valid() and one:
        form.refuse_several()
    if not form.is_valid():
        return _form_page(request, form, status=400)
    given = form.cleaned_data
    return write(
        RecordRequest(
            sites=given["sites"],
            first=given["from"],
            last=given["to"],
            paper=given["paper"],
            printed_by=request.user.name,
            now=timezone.now(),
        )
    )


def _answer_of_one(request: HttpRequest, write: Callable[[RecordScope, str], HttpResponse]) -> HttpResponse:
    return _answer(request, lambda asked: write(asked.scope(asked.sites[0]), asked.file_name), one=True)


@require_safe
def check_print(request: HttpRequest, pk: int) -> HttpResponse:
    """The record of one check as a PDF, for whoever may see the check."""
    from .check_record import write_check

    check = get_check(request.user, pk)
    name = f"check-c{check.pk}-{slugify(check.probe_then.code)[:40] or 'probe'}.pdf"
    return pdf(lambda out: write_check(out, check, printed_by=request.user.name, now=timezone.now()), name)


@require_safe
@few(HEAVY, "printing")
def probe_print(request: HttpRequest, pk: int) -> HttpResponse:
    """The life of one probe, for whoever may see it."""
    from .singles import life_scope, write_probe

    probe, now = get_probe(request.user, pk), timezone.now()
    scope = life_scope(probe, printed_by=request.user.name, now=now)
    return pdf(lambda out: write_probe(out, scope), f"probe-{slugify(probe.code)[:40] or probe.pk}.pdf")


@require_safe
@few(HEAVY, "printing")
def case_print(request: HttpRequest, slug: str) -> HttpResponse:
    """One case of quarantine, at the sites of it that somebody may see."""
    from .singles import case_scopes, write_case

    reach, now = get_case(request.user, slug), timezone.now()
    sites = Site.objects.filter(pk__in=reach.seen).select_related("area__business").order_by("name", "pk")
    scopes = case_scopes(reach.case, list(sites), printed_by=request.user.name, now=now)
    return pdf(lambda out: write_case(out, reach.case.anchor, scopes), f"case-{reach.case.slug}.pdf")


@require_safe
def blank_forms(request: HttpRequest, site_pk: int) -> HttpResponse:
    """What falls due at a site on a day, as a form to fill in by hand; today where `?day=` names none that is to come."""
    from .blank_forms import write_blank_forms

    site, now = get_site(request.user, site_pk), timezone.now()
    form, today = DayForm(request.GET), local_day(now, site.zone)
    day = max(form.cleaned_data["day"] or today, today) if form.is_valid() else today
    name = f"blank-{slugify(site.name)[:60] or site.pk}-{day.isoformat()}.pdf"
    return pdf(lambda out: write_blank_forms(out, site, day, printed_by=request.user.name, now=now), name)


def pdf(write: Callable[[BinaryIO], None], name: str) -> FileResponse:
    """What is written, as a file of this name that a browser shows."""
    return FileResponse(_written(write), content_type="application/pdf", filename=name)


def packed(write: Callable[[BinaryIO], None], name: str) -> FileResponse:
    """The same as a zip that a browser saves."""
    return FileResponse(_written(write), content_type="application/zip", filename=name, as_attachment=True)


def _written(write: Callable[[BinaryIO], None]) -> BinaryIO:
    out = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - the response closes it
    write(out)
    out.seek(0)
    return out


def _form_page(request: HttpRequest, form: RecordForm, status: int = 200) -> HttpResponse:
    return render(
        request, "records/record_form.html", {"form": form, "has_sites": form.first_site() is not None}, status=status
    )
