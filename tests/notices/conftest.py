import pytest

from compliance.notices.models import Notice, State
from tests.service.post import PostOffice


@pytest.fixture
def mailing(settings):
    """A mail server is named, as far as the outbox is concerned."""
    settings.MAIL_WORKS, settings.DEFAULT_FROM_EMAIL = True, "Noughtbook <book@kitchen.example>"
    settings.ADDRESS = "https://kitchen.example"


@pytest.fixture(scope="session")
def office():
    office = PostOffice()
    yield office
    office.shut()


@pytest.fixture
def post(office, settings, mailing):
    """A real mail server that takes everything until it is told otherwise, and offers neither TLS nor passwords."""
    office.open()
    office.mode = "accept"
    office.letters.clear()
    office.asked.clear()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = "127.0.0.1", office.port, 0.5
    return office


@pytest.fixture
def write(world):
    """Puts a notice into the outbox, to the manager about the site, unless told otherwise."""

    def made(subject="Alder School: stop using probe P1", **fields):
        usual = {
            "kind": "failed",
            "person": world.manager,
            "about": subject,
            "site": world.site,
            "subject": subject,
            "text": "Stop: é",
            "html": "<p>Stop: é</p>",
            "link": "/",
            "in_page": True,
            "state": State.WAITING,
        }
        return Notice.objects.create(**usual | fields)

    return made
