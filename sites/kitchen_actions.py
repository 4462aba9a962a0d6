"""What is written about the devices of a kitchen and the PINs of its people."""

from django.contrib.auth.hashers import check_password, make_password
from django.core.exceptions import ValidationError

from shared import clock
from shared.audit.trail import action, note
from shared.saving import save_checked
from shared.stale_forms import refuse_newer

from .kitchen import digest_of, new_secret, refuse_easy
from .models import KitchenDevice, KitchenPin, Person, Site


@action("device.register")
def register_device(*, by: Person, site: Site, name: str, after: int | None = None) -> tuple[KitchenDevice, str]:
    """A device of a site, and the secret that its browser keeps. `after`: the newest one that `by` was shown.

    Raises ValidationError without a name, and where somebody has registered another one since.
    """
    Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    refuse_newer(after, site.kitchen_devices.all(), lambda newer: f"“{newer.name}” was registered meanwhile.")
    secret = new_secret()
    made = save_checked(KitchenDevice(site=site, name=name.strip(), digest=digest_of(secret), registered_by=by))
    note("device.register", by=by, subject=made, site_id=site.pk)
    return made, secret


@action("device.revoke")
def revoke_device(*, by: Person, device: KitchenDevice) -> KitchenDevice:
    """A device opens nothing any more, and all that PINs have opened on it ends. Raises ValidationError where it was revoked."""
    held = KitchenDevice.objects.select_for_update().get(pk=device.pk)
    if held.revoked_at:
        raise ValidationError(f"“{held.name}” was revoked already.")
    held.revoked_at, held.revoked_by = clock.now(), by
    held.save(update_fields=["revoked_at", "revoked_by"])
    note("device.revoke", by=by, subject=held, site_id=held.site_id)
    return held


@action("person.pin")
def set_pin(*, by: Person, pin: str) -> KitchenPin:
    """Another PIN of one's own; wrong ones are forgotten. Raises ValidationError for one that is easily guessed or the same."""
    refuse_easy(pin)
    person = Person.objects.select_for_update().get(pk=by.pk)
    known = KitchenPin.objects.filter(person=person).first()
    holds = known and known.wrong == 0 and known.revocations == person.revocations
    if holds and check_password(pin, known.pin):
        raise ValidationError({"pin": "This is your PIN already."})
    told = {"pin": make_password(pin), "revocations": person.revocations, "wrong": 0, "set_at": clock.now()}
    kept, _ = KitchenPin.objects.update_or_create(person=person, defaults=told)
    note("person.pin", by=by, subject=by)
    return kept


@action("person.pin_sign_in")
def record_pin_sign_in(*, by: Person, device: KitchenDevice) -> None:
    """That somebody opened a session with the PIN, and on which device."""
    note("person.pin_sign_in", by=by, subject=by, site_id=device.site_id, device=str(device))
