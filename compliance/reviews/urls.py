from django.urls import path

from . import views

urlpatterns = [
    path("sites/<int:site_pk>/reviews/", views.review_list, name="review_list"),
    path("sites/<int:site_pk>/review/", views.review_sheet, name="review_sheet"),
]
