from django.urls import path

from sites.views import places

from .guidance import GUIDANCE
from .models import Kind
from .planning import change_site
from .views import calendar, checks, events, guided, instruments, plans, probes


def guided_urls(word: str, kind: str) -> list:
    """The page of a guided check and its taps, such as probes/1/check/take-out/."""
    base, name = f"probes/<int:pk>/{word}/", GUIDANCE[kind].address
    taps = [tap for tap in guided.TAPS if tap != "air" or kind == Kind.BOILING]
    return [path(base, guided.page, {"kind": kind}, name=name)] + [
        path(f"{base}{tap.replace('_', '-')}/", getattr(guided, tap), {"kind": kind}, name=f"{name}_{tap}")
        for tap in taps
    ]


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
    path("sites/<int:pk>/edit/", places.site_edit, {"amend": change_site}, name="site_edit"),
    path("sites/<int:site_pk>/plans/", plans.plan_list, name="plan_list"),
    path("sites/<int:site_pk>/plans/change/", plans.plan_site, name="plan_site"),
    path("probes/<int:probe_pk>/plan/", plans.plan_probe, name="plan_probe"),
    path("set-up/business/plans/", plans.plan_business, name="plan_business"),
    path("sites/<int:site_pk>/opening/", calendar.opening_change, name="opening_change"),
    path("sites/<int:site_pk>/closures/add/", calendar.closure_add, name="closure_add"),
    path("closures/<int:closure_pk>/void/", calendar.closure_void, name="closure_void"),
    path("limits/<int:limit_pk>/rounds/", calendar.round_change, name="round_change"),
    path("events/<int:pk>/void/", events.event_void, name="event_void"),
]
