from django.apps import AppConfig


class AdviceConfig(AppConfig):
    name = "compliance.advice"
