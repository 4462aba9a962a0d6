from django.urls import path

from . import views

urlpatterns = [
    path("outlook/", views.outlook_list, name="outlook_list"),
    path("probes/<int:pk>/outlook/", views.probe_outlook, name="probe_outlook"),
    path("probes/<int:pk>/outlook/short/", views.probe_outlook_part, name="probe_outlook_part"),
    path("probes/<int:pk>/outlook/accept/", views.probe_outlook_accept, name="probe_outlook_accept"),
]
