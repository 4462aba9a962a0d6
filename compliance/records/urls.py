from django.urls import path

from . import views

urlpatterns = [
    path("records/", views.record_form, name="record_form"),
    path("records/print/", views.record_print, name="record_print"),
    path("checks/<int:pk>/print/", views.check_print, name="check_print"),
]
