from django.urls import path

from . import views

urlpatterns = [
    path("worker.js", views.worker, name="worker"),
    path("phone/", views.phone, name="phone"),
    path("phone/now/", views.now, name="phone_now"),
    path("phone/send/", views.send, name="phone_send"),
]
