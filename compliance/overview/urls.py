from django.urls import path

from . import views

urlpatterns = [
    path("today/", views.today, name="today"),
    path("today/<int:pk>/", views.today_site, name="today_site"),
    path("areas/", views.area_list, name="area_list"),
    path("areas/<int:pk>/", views.area_detail, name="area_detail"),
]
