from django.urls import path

from .guidance import GUIDANCE
from .models import Kind
from .views import checks, events, guided, guided_end, instruments, probes
from .views.guided_page import TAPS


def guided_urls(word: str, kind: str) -> list:
    """The page of a guided check and its taps, such as probes/1/check/take-out/."""
    base, name = f"probes/<int:pk>/{word}/", GUIDANCE[kind].address
    taps = [tap for tap in TAPS if tap != "air" or kind == Kind.BOILING]
    return [path(base, guided.page, {"kind": kind}, name=name)] + [
        path(f"{base}{tap.replace('_', '-')}/", _view(tap), {"kind": kind}, name=f"{name}_{tap}") for tap in taps
    ]


def _view(tap: str):
    return getattr(guided_end if tap == "finish" else guided, tap)


urlpatterns = [
    path("probes/", probes.probe_list, name="probe_list"),
    path("probes/add/", instruments.probe_add, name="probe_add"),
    path("probes/<int:pk>/edit/", instruments.probe_edit, name="probe_edit"),
    path("probes/<int:pk>/move/", instruments.probe_move, name="probe_move"),
    path("probes/<int:pk>/", probes.probe_detail, name="probe_detail"),
    *guided_urls("check", Kind.ZERO),
    *guided_urls("boiling", Kind.BOILING),
    path("probes/<int:pk>/certificate/", checks.certificate_add, name="certificate_add"),
    path("probes/<int:pk>/event/", events.event_add, name="event_add"),
    path("checks/<int:pk>/", checks.check_detail, name="check_detail"),
    path("checks/<int:pk>/void/", checks.check_void, name="check_void"),
    path("checks/<int:pk>/correct/", checks.check_correct, name="check_correct"),
    path("events/<int:pk>/void/", events.event_void, name="event_void"),
]
