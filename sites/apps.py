from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in

from .middleware import renew


class SitesConfig(AppConfig):
    name = "sites"

    def ready(self):
        user_logged_in.connect(renew, dispatch_uid="sites.renew")
