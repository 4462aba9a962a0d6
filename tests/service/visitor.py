"""Somebody who uses the pages of a running installation."""

import re
import urllib.error
import urllib.parse
import urllib.request
import uuid
from datetime import datetime
from http.cookiejar import CookieJar

from tests.world import PASSWORD

MANAGER = "mara.holt@example.test"
PATIENCE = 60  # seconds that a visitor waits for a page


class Visitor:
    """Somebody signed in, with a browser's cookies."""

    def __init__(self, address: str, email: str = MANAGER, password: str = PASSWORD):
        self.address = address.rstrip("/")
        self.browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        self.send("/sign-in/", username=email, password=password)

    def send(self, path: str, **filled_in) -> str:
        page = self.browser.open(self.address + path, timeout=PATIENCE).read().decode()
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]
        return self.post(path, {"csrfmiddlewaretoken": token, **filled_in})

    def post(self, path: str, filled_in) -> str:
        """Send what a form holds; gives the address of the page that follows. Raises urllib.error.HTTPError."""
        sent = urllib.parse.urlencode(filled_in).encode()
        return self.browser.open(self.address + path, sent, timeout=PATIENCE).url

    def look(self, path: str) -> tuple[int, str]:
        """The status and what the page says."""
        try:
            with self.browser.open(self.address + path, timeout=PATIENCE) as page:
                return page.status, page.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()

    def record(self, probe: int, error: str, **filled_in) -> str:
        """A certificate for a probe, with so large an error; gives the address of the page that follows."""
        usual = {"key": str(uuid.uuid4()), "checked_at": f"{datetime.now():%Y-%m-%dT%H:%M}"}
        return self.send(
            f"/probes/{probe}/certificate/",
            stage="as_found",
            laboratory="Fen Measurement",
            certificate_number="F-77",
            reference="0",
            error=error,
            expanded="0.05",
            **usual | filled_in,
        )


class Stranger:
    """Somebody who has opened the page for signing in, and guesses."""

    def __init__(self, address: str):
        self.address = f"{address.rstrip('/')}/sign-in/"
        self.browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        page = self.browser.open(self.address, timeout=PATIENCE).read().decode()
        self.token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)[1]

    def guess(self, email: str) -> int:
        """The status of what is answered to a wrong password."""
        sent = {"csrfmiddlewaretoken": self.token, "username": email, "password": "wrong-as-can-be"}
        try:
            return self.browser.open(self.address, urllib.parse.urlencode(sent).encode(), timeout=PATIENCE).status
        except urllib.error.HTTPError as error:
            return error.code
