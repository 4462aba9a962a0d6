from django.apps import AppConfig
from django.db.models.signals import post_migrate

from shared.grants import grant_access
from shared.guards import guard_records


class AuditConfig(AppConfig):
    name = "shared.audit"
    label = "audit"

    def ready(self):
        for act in (guard_records, grant_access):  # once each, after the migrations of all apps
            post_migrate.connect(act, sender=self)
