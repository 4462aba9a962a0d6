from django.apps import AppConfig
from django.db.models.signals import post_migrate, post_save

from shared.grants import grant_access
from shared.guards import guard_records


class AuditConfig(AppConfig):
    name = "shared.audit"
    label = "audit"

    def ready(self):
        from .opening import open_chain
        from .trail import notice_saved

        for act in (guard_records, grant_access, open_chain):  # once each, after the migrations of all apps
            post_migrate.connect(act, sender=self)
        post_save.connect(notice_saved, dispatch_uid="audit.notice_saved")
