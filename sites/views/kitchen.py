"""The devices of a kitchen, who works on one now, and one's own PIN."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from shared.bounds import number_in
from shared.forms import attempt
from shared.request_slots import PASSWORDS, few
from shared.stale_forms import newest

from ..access import get_site, reach
from ..addresses import address
from ..forms import DeviceForm, PinForm
from ..kitchen import IDLE, device_of, keep_secret, people_with_pins, person_by_pin, secret_of
from ..kitchen_actions import record_pin_sign_in, register_device, revoke_device, set_pin
from ..kitchen_sessions import open_session
from ..models import KitchenDevice, Role
from .parts import LOOKING_AT_PASSWORDS

FORM = ["GET", "HEAD", "POST"]


@login_not_required
@never_cache
@sensitive_post_parameters("pin")
@require_http_methods(FORM)
@few(PASSWORDS, LOOKING_AT_PASSWORDS, ("POST",))
def kitchen(request: HttpRequest) -> HttpResponse:
    """Who works on this device now: one types the PIN and taps the own name."""
    device, error = device_of(request), ""
    if device is None:
        return redirect("sign_in")
    people = people_with_pins(device.site)
    if request.method == "POST":
        chosen = people.filter(pk=number_in(request.POST.get("person")) or 0).first()
        try:
            person = person_by_pin(device, chosen, request.POST.get("pin", "")) if chosen else None
        except ValidationError as refused:
            person, error = None, " ".join(refused.messages)
        if person:
            open_session(request, person, device)
            record_pin_sign_in(by=person, device=device)
            page = address("today_site", device.site_id)
            return keep_secret(redirect(page or "site_list"), secret_of(request))
    told = {"device": device, "people": people, "error": error}
    return render(request, "sites/kitchen.html", told, status=422 if request.method == "POST" else 200)


@never_cache
@require_http_methods(FORM)
def site_devices(request: HttpRequest, pk: int) -> HttpResponse:
    """The devices of a site; this one is registered by its name."""
    site, here = get_site(request.user, pk, Role.MANAGER), device_of(request)
    devices = site.kitchen_devices.prefetch_related("registered_by__names", "revoked_by__names")
    form = DeviceForm(request.POST or None, initial={"after": newest(site.kitchen_devices.all())}, here=here)
    if form.is_valid():
        made = attempt(form, register_device, by=request.user, site=site, **form.cleaned_data)
        if made:
            messages.success(request, f"This device is “{made[0].name}” from now on. Whoever has a PIN can work on it.")
            return keep_secret(redirect("site_devices", pk), made[1])
    told = {"site": site, "form": form, "devices": devices, "here": here, "idle": IDLE.seconds // 60}
    return render(request, "sites/site_devices.html", told)


@require_POST
def device_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    device = reach(
        request.user,
        KitchenDevice.objects.select_related("site").filter(pk=pk),
        lambda device: device.site,
        Role.MANAGER,
    )
    try:
        revoke_device(by=request.user, device=device)
        messages.success(request, f"“{device.name}” opens nothing any more.")
    except ValidationError as refused:
        messages.info(request, " ".join(refused.messages))
    return redirect("site_devices", device.site_id)


@sensitive_post_parameters()
@require_http_methods(FORM)
@few(PASSWORDS, LOOKING_AT_PASSWORDS, ("POST",))
def account_pin(request: HttpRequest) -> HttpResponse:
    form = PinForm(request, request.POST or None)
    if form.is_valid() and attempt(form, set_pin, by=request.user, pin=form.cleaned_data["pin"]):
        messages.success(request, "Your PIN holds from now on, on the devices of the kitchens where you work.")
        return redirect("account")
    return render(request, "sites/account_pin.html", {"form": form})
