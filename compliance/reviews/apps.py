from django.apps import AppConfig


class ReviewsConfig(AppConfig):
    name = "compliance.reviews"
