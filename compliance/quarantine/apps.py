from django.apps import AppConfig


class QuarantineConfig(AppConfig):
    name = "compliance.quarantine"
