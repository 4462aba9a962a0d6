from django.urls import path

from . import views

urlpatterns = [
    path("sites/<int:site_pk>/limits/", views.limit_list, name="limit_list"),
    path("sites/<int:site_pk>/limits/adopt/", views.limit_adopt, name="limit_adopt"),
    path("sites/<int:site_pk>/limits/adopt/<int:pk>/", views.rule_adopt, name="limit_adopt_rule"),
    path("sites/<int:site_pk>/limits/add/", views.limit_add, name="limit_add"),
    path("limits/<int:pk>/", views.limit_detail, name="limit_detail"),
]
