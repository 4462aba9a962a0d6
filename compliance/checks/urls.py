from django.urls import path

from .views import checks, events, instruments, probes, zero

urlpatterns = [
    path("probes/", probes.probe_list, name="probe_list"),
    path("probes/add/", instruments.probe_add, name="probe_add"),
    path("probes/<int:pk>/edit/", instruments.probe_edit, name="probe_edit"),
    path("probes/<int:pk>/move/", instruments.probe_move, name="probe_move"),
    path("probes/<int:pk>/", probes.probe_detail, name="probe_detail"),
    path("probes/<int:pk>/check/", zero.zero_check, name="zero_check"),
    path("probes/<int:pk>/check/start/", zero.zero_check_start, name="zero_check_start"),
    path("probes/<int:pk>/check/point/", zero.zero_check_point, name="zero_check_point"),
    path("probes/<int:pk>/check/about/", zero.zero_check_about, name="zero_check_about"),
    path("probes/<int:pk>/check/insert/", zero.zero_check_insert, name="zero_check_insert"),
    path("probes/<int:pk>/check/take-out/", zero.zero_check_take_out, name="zero_check_take_out"),
    path("probes/<int:pk>/check/read/", zero.zero_check_read, name="zero_check_read"),
    path("probes/<int:pk>/check/take-back/", zero.zero_check_take_back, name="zero_check_take_back"),
    path("probes/<int:pk>/check/now/", zero.zero_check_now, name="zero_check_now"),
    path("probes/<int:pk>/check/finish/", zero.zero_check_finish, name="zero_check_finish"),
    path("probes/<int:pk>/certificate/", checks.certificate_add, name="certificate_add"),
    path("probes/<int:pk>/event/", events.event_add, name="event_add"),
    path("checks/<int:pk>/", checks.check_detail, name="check_detail"),
    path("checks/<int:pk>/void/", checks.check_void, name="check_void"),
    path("checks/<int:pk>/correct/", checks.check_correct, name="check_correct"),
    path("events/<int:pk>/void/", events.event_void, name="event_void"),
]
