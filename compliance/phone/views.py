"""What a phone needs to go on without network: its worker, the page of what it keeps, and a door for what it kept."""

import json
from functools import cache
from hashlib import md5
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from compliance.checks.whole import UnitAsked
from compliance.readings.actions import AlreadySent
from shared.kept_pages import mark_of
from shared.phone_time import AskTime

from .sending import ReadingDoubted, send_check, send_reading

PARTS = (
    *("noughtbook/noughtbook.css", "noughtbook/phone.css", "noughtbook/mark.svg", "django_htmx/htmx-2.min.js"),
    *("noughtbook/app.js", "noughtbook/kept.js", "noughtbook/phone.js", "noughtbook/whole_check.js"),
)
SENT = {"reading": send_reading, "check": send_check}
QUESTIONS = {AlreadySent: "another", ReadingDoubted: "all_the_same", UnitAsked: "unit"}


@login_not_required
@never_cache
@require_safe
def worker(request):
    """The service worker, from the root so that it serves every page. It tells nothing of anybody."""
    script = _script.__wrapped__() if settings.DEBUG else _script()
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@cache
def _script() -> str:
    """Another one whenever something changes that a phone keeps of ours: browsers ask for it with every page."""
    parts = [staticfiles_storage.url(name) for name in PARTS]
    told = {
        "parts": parts,
        "shell": reverse("phone"),
        "now": reverse("phone_now"),
        "send": reverse("phone_send"),
        "signOut": reverse("sign_out"),
        "reading": reverse("reading_add"),
        "round": f"^{reverse('today_round', args=[0]).replace('0', '([0-9]+)')}$",
        "idle": 1000 * settings.SESSION_COOKIE_AGE,
    }
    script = Path(finders.find("noughtbook/worker.js")).read_text(encoding="utf-8")
    page = render_to_string("phone/phone.html", {"editable": EDITABLE})
    told["version"] = md5(f"{told}{script}{page}".encode(), usedforsecurity=False).hexdigest()[:12]
    kept = json.dumps(parts[PARTS.index("noughtbook/kept.js")])
    return f"self.noughtbook = {json.dumps(told)};\nimportScripts({kept});\n{script}"


@login_not_required
@require_safe
def phone(request):
    """What is kept on this phone. The page knows nothing of it; its script does, and shows it without network too."""
    return render(request, "phone/phone.html", {"editable": EDITABLE})


EDITABLE = (
    ("typed", "Temperature on the display"),
    ("item", "Food or unit"),
    ("hold_s", "Held for"),
    ("since_start_s", "Time since it began"),
    ("used_despite", "Used all the same, because"),
    ("immersion_mm", "Depth in mm"),
    ("note", "Note"),
)


@never_cache
@require_safe
def now(request):
    """To whom this phone is signed in, the server's time in milliseconds, and what a form of theirs has to carry."""
    told = {
        "person": mark_of(request.user),
        "now": round(1000 * timezone.now().timestamp()),
        "csrf": get_token(request),
    }
    return JsonResponse(told)


@require_POST
def send(request):
    """Record one act that a phone kept, or say why not; under nobody's name but that of who typed it."""
    act = SENT.get(request.POST.get("what", ""))
    if act is None:
        raise Http404
    if request.POST.get("person") != mark_of(request.user):
        return JsonResponse({"other": True})
    try:
        return JsonResponse(act(request))
    except AskTime as asked:
        return JsonResponse({"asks": str(asked)})
    except ValidationError as refused:
        return JsonResponse({"refused": " ".join(refused.messages), "question": _question(refused)})


def _question(refused: ValidationError) -> str:
    """What somebody is asked about it, beside the reason; empty where something is to be put right."""
    again = "another" if getattr(refused, "code", "") == "already_sent" else ""
    return QUESTIONS.get(type(refused), again)
