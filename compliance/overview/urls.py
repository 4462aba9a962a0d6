from django.urls import path

from . import area_lists, reminders, round_views, together, views

urlpatterns = [
    path("today/", views.today, name="today"),
    path("today/<int:pk>/", views.today_site, name="today_site"),
    path("today/<int:pk>/next/", views.today_next, name="today_next"),
    path("today/<int:pk>/planned/", reminders.reminder_list, name="reminder_list"),
    path("today/<int:pk>/together/", together.together, name="today_together"),
    path("today/<int:pk>/round/", round_views.today_round, name="today_round"),
    path("reminders/<int:pk>/excuse/", reminders.reminder_excuse, name="reminder_excuse"),
    path("areas/", views.area_list, name="area_list"),
    path("areas/<int:pk>/", views.area_detail, name="area_detail"),
    path("areas/<int:pk>/missed/", area_lists.missed_list, name="area_missed"),
    path("areas/<int:pk>/overdue/", area_lists.overdue_list, name="area_overdue"),
]
