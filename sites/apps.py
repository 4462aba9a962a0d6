from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in

from .middleware import renew


class SitesConfig(AppConfig):
    name = "sites"

    def ready(self):
        from shared.audit.chain import finders

        from .chains import business_of

        if business_of not in finders:
            finders.append(business_of)
        user_logged_in.connect(renew, dispatch_uid="sites.renew")
