from django.apps import AppConfig


class EngineConfig(AppConfig):
    name = "compliance.engine"

    def ready(self):
        from . import tasks  # noqa: F401  which whoever sends or does them has to know
