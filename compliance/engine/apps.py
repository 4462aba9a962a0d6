from django.apps import AppConfig


class EngineConfig(AppConfig):
    name = "compliance.engine"
