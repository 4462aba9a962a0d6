from django.apps import AppConfig
from django.db.models.signals import post_migrate

from shared.guards import guard_records


class AuditConfig(AppConfig):
    name = "shared.audit"
    label = "audit"

    def ready(self):
        post_migrate.connect(guard_records, sender=self)  # once, after all migrations of all apps
