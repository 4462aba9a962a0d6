"""Which pages a phone keeps to open them without network, and whose they are: shared/static/noughtbook/worker.js acts on it."""

from django.http import HttpResponse
from django.utils.crypto import salted_hmac

PERSON, IDLE, KEEP = "Noughtbook-Person", "Noughtbook-Idle", "Noughtbook-Keep"
NOBODY = "-"


def mark_of(person) -> str:
    """Tells a person from others on one phone, and says nothing of who it is."""
    return salted_hmac("noughtbook.phone", str(person.pk)).hexdigest()[:22] if person.is_authenticated else NOBODY


def keep(response: HttpResponse, *addresses: str) -> HttpResponse:
    """Have the phone that gets this page keep the pages of these addresses, of which it may be one."""
    response.headers[KEEP] = " ".join(addresses)
    return response


def says_whose(get_response):
    """Says of each page to whom it was shown, and for how many seconds they may leave it: a phone drops what it kept for
    anybody else, and for who has left it for longer."""

    def middleware(request):
        response = get_response(request)
        if response.status_code < 500 and response.get("Content-Type", "").startswith("text/html"):
            response.headers[PERSON] = mark_of(request.user)
            if request.user.is_authenticated:
                response.headers[IDLE] = request.session.get_expiry_age()
        return response

    return middleware
