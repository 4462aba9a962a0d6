from django.apps import AppConfig


class ReadingsConfig(AppConfig):
    name = "compliance.readings"

    def ready(self):
        from . import contradictions  # noqa: F401  which the page of a probe has to find
