from django.apps import AppConfig
from django.db.models.signals import post_migrate, post_save


class AuditConfig(AppConfig):
    name = "shared.audit"
    label = "audit"

    def ready(self):
        from .trail import notice_saved
        from .upkeep import UPKEEP

        for act in UPKEEP:  # once each, after the migrations of all apps
            post_migrate.connect(act, sender=self)
        post_save.connect(notice_saved, dispatch_uid="audit.notice_saved")
