"""The health page, for monitors and for people who wonder why nobody reminds them."""

from django.contrib.auth.decorators import login_not_required
from django.http import HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from .health import findings

LABELS = {
    "database": "Database",
    "broker": "Broker",
    "tasks": "Tasks of each minute",
    "ahead": "Due times ahead",
    "mail": "Mail",
}


@login_not_required
@never_cache
@require_safe
def health(request):
    """200 where all is well and 503 where something is not; as JSON for who asks so, and for who does not care."""
    parts = findings()
    well = all(part.well for part in parts)
    status = 200 if well else 503
    if wants_json(request):
        told = {part.name: {"well": part.well, "says": part.says, "figure": part.figure} for part in parts}
        return JsonResponse({"well": well, "parts": told}, status=status)
    context = {"well": well, "parts": [(LABELS[part.name], part) for part in parts]}
    # Without the request: the page must open while the database, and so whoever is signed in, cannot be read.
    return HttpResponse(render_to_string("service/health.html", context), status=status)


def wants_json(request) -> bool:
    asked = request.GET.get("format")
    return asked == "json" if asked else request.get_preferred_type(["application/json", "text/html"]) != "text/html"
