"""The WSGI application, for waitress or any other server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "compliance.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402
from django.db import connections  # noqa: E402

from shared.system_checks import stop_if_wrong  # noqa: E402
from shared.time_limits import limit_statements  # noqa: E402
from shared.versions import stop_unless_same_version  # noqa: E402

stop_if_wrong(doubts=False)  # which every command that was run before has said
stop_unless_same_version()
connections.close_all()  # many servers fork now
limit_statements(connections.settings["default"], settings.PAGE_STATEMENT)
