from django.urls import path

from . import views

urlpatterns = [
    path("probes/add/", views.probe_add, name="probe_add"),
    path("probes/<int:pk>/edit/", views.probe_edit, name="probe_edit"),
    path("probes/<int:pk>/move/", views.probe_move, name="probe_move"),
]
