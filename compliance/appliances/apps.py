from django.apps import AppConfig


class AppliancesConfig(AppConfig):
    name = "compliance.appliances"
