from django.apps import AppConfig


class SharedConfig(AppConfig):
    name = "shared"

    def ready(self):
        from . import system_checks  # noqa: F401  registers the checks of the settings
