"""The secret of a feed, and of a link to choose a password, is in its address, and an address that is refused or breaks is
logged: the log shows it cut off."""

import logging
import re

SECRET = re.compile(r"(/(?:feeds|new-password/\d+)/[\w-]{4})[\w-]+")


class SecretsHidden(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        if any(where in str(part) for part in (record.msg, record.args) for where in ("/feeds/", "/new-password/")):
            record.msg, record.args = SECRET.sub(r"\1…", record.getMessage()), ()
        return True
