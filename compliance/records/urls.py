from django.urls import path

from . import label_views, trail_views, views

urlpatterns = [
    path("records/", views.record_form, name="record_form"),
    path("records/trail/", trail_views.record_trail, name="record_trail"),
    path("records/data/", views.record_data, name="record_data"),
    path("records/haccp/", views.record_haccp, name="record_haccp"),
    path("records/print/", views.record_print, name="record_print"),
    path("checks/<int:pk>/print/", views.check_print, name="check_print"),
    path("probes/<int:pk>/print/", views.probe_print, name="probe_print"),
    path("quarantine/<anchor:slug>/print/", views.case_print, name="case_print"),
    path("probes/labels/", label_views.probe_labels_site, name="probe_labels_site"),
    path("sites/<int:site_pk>/blank/", views.blank_forms, name="blank_forms"),
    path("sites/<int:site_pk>/labels/", label_views.probe_labels, name="probe_labels"),
    path("sites/<int:site_pk>/labels/print/", label_views.probe_labels_print, name="probe_labels_print"),
    path("probes/<int:pk>/tag/", label_views.probe_tag, name="probe_tag"),
]
