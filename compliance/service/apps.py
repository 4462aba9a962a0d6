from django.apps import AppConfig


class ServiceConfig(AppConfig):
    name = "compliance.service"

    def ready(self):
        from . import serving, task_runs, tasks  # noqa: F401  which whoever sends or does tasks has to know
