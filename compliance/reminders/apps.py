from django.apps import AppConfig
from django.conf import settings
from django.utils.module_loading import import_string


class RemindersConfig(AppConfig):
    name = "compliance.reminders"

    def ready(self):
        """Any process that sends a task knows where it goes, and any that is to run it knows what it is."""
        import_string(settings.TASK_QUEUE)
        from . import tasks  # noqa: F401
