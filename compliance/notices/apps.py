from django.apps import AppConfig
from django.db.models.signals import post_save


class NoticesConfig(AppConfig):
    name = "compliance.notices"

    def ready(self):
        """A failed check is told of at once, without the floor of checks knowing of notices."""
        from compliance.checks.models import Check

        from .tasks import told_at_once

        post_save.connect(told_at_once, sender=Check, dispatch_uid="notices.told_at_once")
