"""What a PIN opened is that kitchen's work, for a while, on a device that is registered there and not revoked."""

from django.contrib.auth import login, logout
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from shared.audit.trail import on_device

from .kitchen import DEVICE, IDLE, people_with_pins
from .models import KitchenDevice, Person, Role

BEYOND = (
    "account",
    "notice",
    "import",
    "reading_import",
)  # in the first words of the names of pages: no kitchen's work
MANAGED = {"deviation_detail", "today_round"}  # where a manager writes down in the kitchen what was done about a limit
BACKEND = "sites.backends.PeopleWithRoles"


def open_session(request: HttpRequest, person: Person, device: KitchenDevice) -> None:
    """Nothing of whoever worked on the device before is left in it."""
    logout(request)
    login(request, person, backend=BACKEND)
    request.session[DEVICE] = device.pk
    request.session.set_expiry(int(IDLE.total_seconds()))


class KitchenSessions:
    """Looks with every page whether device and PIN still hold; ends the session where not."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        pk = request.session.get(DEVICE)
        if pk is None:
            return self.get_response(request)
        device = KitchenDevice.objects.filter(pk=pk, revoked_at=None, site__closed=False).select_related("site").first()
        if device is None or not people_with_pins(device.site).filter(pk=request.user.pk).exists():
            logout(request)
            return self.get_response(request)
        request.user.kitchen = device.site_id
        with on_device(str(device)):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        if DEVICE in request.session and (request.resolver_match.url_name or "").startswith(BEYOND):
            raise PermissionDenied("A PIN opens the work of the kitchen only. Sign in with your password for this.")
        if DEVICE in request.session:
            request.user.kitchen_most = Role.MANAGER if request.resolver_match.url_name in MANAGED else Role.COOK
