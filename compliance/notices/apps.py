from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "compliance.notices"

    def ready(self):
        from . import tasks  # noqa: F401  which a failed check has to find
