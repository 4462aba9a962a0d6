from django.apps import AppConfig


class ProbesConfig(AppConfig):
    name = "compliance.probes"
