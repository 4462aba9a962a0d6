from django.apps import AppConfig


class OverviewConfig(AppConfig):
    name = "compliance.overview"
