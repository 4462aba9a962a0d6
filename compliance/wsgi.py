"""The WSGI application, for waitress or any other server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
application = get_wsgi_application()

from compliance.engine.bell import bell  # noqa: E402  which reads the models
from shared.system_checks import stop_if_wrong  # noqa: E402

stop_if_wrong(doubts=False)  # which every command that was run before has said
bell.hang()
