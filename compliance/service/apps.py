import gc

from django.apps import AppConfig


class ServiceConfig(AppConfig):
    name = "compliance.service"

    def ready(self):
        """The last of all: nothing that has been loaded is looked through again for what might be left over."""
        from . import serving, task_runs, tasks  # noqa: F401  which whoever sends or does tasks has to know

        gc.freeze()
        gc.set_threshold(20_000, 20, 50)
