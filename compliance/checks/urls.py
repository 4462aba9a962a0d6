from django.urls import path

from .kinds import KINDS, KindOfCheck
from .views import checks, events, guided, guided_end, instruments, probes, whole
from .views.guided_page import taps_of_kind


def urls_of(kind: KindOfCheck) -> list:
    """The page where a check of this kind is entered; of a guided one its taps too, such as probes/1/check/take-out/."""
    base, given = f"probes/<int:pk>/{kind.path}/", {"kind": kind.value}
    if not kind.guided:
        return [path(base, checks.check_add, given, name=f"{kind.value}_add")]
    name, taps = kind.guidance.address, taps_of_kind(kind)
    paper = path(f"{base}paper/", checks.check_paper, given, name=f"check_paper_{kind.value}")
    return [path(base, guided.page, given, name=name), paper] + [
        path(f"{base}{tap.replace('_', '-')}/", _view(tap), given, name=f"{name}_{tap}") for tap in taps
    ]


def _view(tap: str):
    return getattr(guided_end if tap in ("finish", "bath") else guided, tap)


urlpatterns = [
    path("probes/", probes.probe_list, name="probe_list"),
    path("probes/add/", instruments.probe_add, name="probe_add"),
    path("probes/<int:pk>/edit/", instruments.probe_edit, name="probe_edit"),
    path("probes/<int:pk>/move/", instruments.probe_move, name="probe_move"),
    path("probes/<int:pk>/", probes.probe_detail, name="probe_detail"),
    *(url for kind in KINDS.values() for url in urls_of(kind)),
    path("probes/<int:pk>/check/whole/", whole.whole, name="zero_check_whole"),
    path("probes/<int:pk>/event/", events.event_add, name="event_add"),
    path("checks/<int:pk>/", checks.check_detail, name="check_detail"),
    path("checks/<int:pk>/void/", checks.check_void, name="check_void"),
    path("checks/<int:pk>/correct/", checks.check_correct, name="check_correct"),
    path("events/<int:pk>/void/", events.event_void, name="event_void"),
]
