import pytest


@pytest.fixture
def mailing(settings):
    """A mail server is named, as far as the outbox is concerned."""
    settings.MAIL_WORKS, settings.DEFAULT_FROM_EMAIL = True, "Noughtbook <book@kitchen.example>"
    settings.ADDRESS = "https://kitchen.example"
