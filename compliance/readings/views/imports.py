"""Bringing in a file: sending it, looking at what it would do, and saying yes."""

from datetime import UTC, datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from shared.request_slots import FILES, few
from shared.time_text import zoned_moment
from shared.units import Unit
from sites.models import Site

from ..access import get_import, get_upload, sites_to_record_at
from ..exporting import template_lines
from ..forms import UploadForm
from ..importing import OPTIONAL, REQUIRED, FileRefused, preview
from ..importing.uploads import address_for_files, bring_in, content_of, discard, keep
from ..queries import limits_named_at, probes_at
from ..tables import LineTable

SHOWN = 200


@require_http_methods(["GET", "HEAD", "POST"])
@few(FILES, "bringing in files", ("POST",))
def reading_import(request):
    """Send a file; nothing of it is in the record yet."""
    sites = sites_to_record_at(request.user)
    form = UploadForm(request.POST or None, request.FILES or None)
    if form.is_valid():
        sent = form.cleaned_data["file"]
        content = sent.read()
        try:
            preview(content, request.user)
        except FileRefused as refused:
            form.add_error("file", refused)
        else:
            return redirect("import_preview", keep(by=request.user, file_name=sent.name, content=content).key)
    return render(
        request,
        "readings/reading_import.html",
        {
            "form": form,
            "action": address_for_files(),
            "required": REQUIRED,
            "optional": OPTIONAL,
            "sites": [s.name for s in sites.order_by("name")[:6]],
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@few(FILES, "bringing in files")
def import_preview(request, key):
    """What a file that was sent would bring in; a yes brings it in, a no forgets it."""
    upload = get_upload(request.user, key)
    if upload.became_id:
        return redirect("import_detail", upload.became_id)
    if request.method == "POST":
        return answer(request, upload)
    try:
        found = preview(content_of(upload), request.user)
    except FileRefused as refused:  # what it names may have changed since it was sent
        messages.error(request, " ".join(refused.messages))
        return redirect("reading_import")
    return render(
        request,
        "readings/import_preview.html",
        {
            "upload": upload,
            "found": found,
            "bad": lines(found.bad),
            "doubts": lines(found.doubts),
            "tiles": tiles_of(found),
            "sample": sample_of(found),
            "shown": SHOWN,
        },
    )


def answer(request, upload):
    if "forget" in request.POST:
        discard(upload)
        messages.info(request, f"{upload.file_name} is forgotten. Nothing of it is in the record.")
        return redirect("reading_import")
    try:
        made = bring_in(by=request.user, upload=upload)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
        return redirect("reading_import")
    return redirect("import_detail", made.pk)


def lines(found: list):
    return LineTable(found[:SHOWN]) if found else None


def tiles_of(found) -> list[dict]:
    return [
        {"value": found.good, "label": "good rows", "tone": "good" if found.good else "plain"},
        {"value": len(found.bad), "label": "bad rows", "tone": "bad" if found.bad else "plain"},
        {"value": found.breaches, "label": "do not meet their limit", "tone": "bad" if found.breaches else "plain"},
        {"value": len(found.doubts), "label": "worth a look", "tone": "doubt" if found.doubts else "plain"},
    ]


def sample_of(found) -> list[tuple[str, str]]:
    sites = Site.objects.in_bulk(found.sites)
    return [
        (f"{sites[site]}, {zoned_moment(moment(taken_at), sites[site].zone)}", f"{item}: {typed} {Unit(unit).label}")
        for _, _, site, _, item, typed, unit, _, _, _, taken_at, *_ in found.sample
    ]


def moment(taken_at: str) -> datetime:
    return datetime.fromisoformat(taken_at).replace(tzinfo=UTC)


@require_safe
def import_detail(request, pk):
    made = get_import(request.user, pk)
    return render(
        request,
        "readings/import_detail.html",
        {
            "made": made,
            "rest": f"Stopped after line {made.rest_after}, or still coming in",
            "zone": zone_of(made),
            "bad": lines(made.refused),
            "doubts": lines(made.doubts),
            "shown": SHOWN,
            "tiles": [
                {"value": made.added, "label": "readings added", "tone": "good" if made.added else "plain"},
                {"value": made.known, "label": "in the record already", "tone": "plain"},
                {
                    "value": made.refused_count,
                    "label": "rows refused",
                    "tone": "bad" if made.refused_count else "plain",
                },
                {
                    "value": made.breaches,
                    "label": "deviations opened",
                    "tone": "bad" if made.breaches else "plain",
                    "url": reverse("deviation_list") if made.breaches else "",
                },
            ],
        },
    )


def zone_of(made):
    site = Site.objects.filter(pk__in=made.sites).order_by("pk").first()
    return site.zone if site else timezone.get_default_timezone()


@require_safe
def import_template(request):
    site = sites_to_record_at(request.user).order_by("name").first()
    probe, limit = probes_at(site).first(), next(iter(limits_named_at(site)), None)
    text = "".join(template_lines(site, probe.code if probe else "P1", limit.code if limit else "cold-holding"))
    response = HttpResponse(text, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="readings-template.csv"'
    return response
