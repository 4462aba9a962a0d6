"""Where the links in mails lead; that `start` puts in what it serves is proved in tests/service/test_told_at_once.py."""

import pytest

from compliance.notices.wording import absolute
from compliance.service.serving import link_to, served_at

LOCAL = ["localhost", "127.0.0.1", "[::1]"]


@pytest.mark.parametrize(
    "host, answered, address",
    [
        ("127.0.0.1", LOCAL, "http://127.0.0.1:8161"),
        ("kitchen.example", LOCAL, "http://kitchen.example:8161"),
        ("0.0.0.0", LOCAL, "http://127.0.0.1:8161"),
        ("0.0.0.0", [*LOCAL, "*", ".example", "kitchen.example"], "http://kitchen.example:8161"),
        ("::", LOCAL, "http://127.0.0.1:8161"),
        ("::1", LOCAL, "http://[::1]:8161"),  # RFC 3986, 3.2.2: an IPv6 address in brackets
    ],
)
def test_what_a_server_serves_is_an_address_to_type(host, answered, address, settings):
    settings.ALLOWED_HOSTS = answered
    assert served_at(host, 8161) == address


@pytest.mark.parametrize(
    "given, leads", [("", "http://here:1/x/"), ("https://kitchen.example", "https://kitchen.example/x/")]
)
def test_links_lead_to_what_is_served_unless_a_setting_says_where(given, leads, settings):
    settings.ADDRESS_GIVEN, settings.ADDRESS = given, given or "http://127.0.0.1:8000"
    link_to("http://here:1")
    assert absolute("/x/") == leads
