from django.apps import AppConfig


class QuarantineConfig(AppConfig):
    name = "compliance.quarantine"

    def ready(self):
        from . import in_doubt  # noqa: F401  which the page of a failed check has to find
