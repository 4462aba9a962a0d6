"""What a phone kept without network, recorded as if it had been sent when it was typed. Sent twice it is recorded once."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from compliance.checks.models import Check
from compliance.checks.whole import WholeForm, record_whole
from compliance.limits.queries import version_in_force
from compliance.probes.access import get_probe
from compliance.readings.actions import record
from compliance.readings.data import ReadingData
from compliance.readings.forms import ReadingForm
from compliance.readings.limit_evaluation import doubts_of
from compliance.readings.queries import sent_before, track_of
from compliance.readings.views.readings import site_asked_for
from shared.bounds import number_in
from shared.phone_time import PhoneTime
from sites.access import get_site
from sites.models import Role, Site

LONGEST_MS = 1 << 53  # what a script counts with


class PhoneTimeForm(forms.Form):
    """Milliseconds since 1970 by the phone's clock, and by how many that is ahead of the server's."""

    phone_at = forms.IntegerField(min_value=0, max_value=LONGEST_MS)
    phone_now = forms.IntegerField(min_value=0, max_value=LONGEST_MS)
    phone_off = forms.IntegerField(min_value=-LONGEST_MS, max_value=LONGEST_MS)
    phone_said = forms.IntegerField(min_value=-LONGEST_MS, max_value=LONGEST_MS, required=False)


class ReadingDoubted(ValidationError):
    """Something casts a doubt on a reading: somebody has to look at it again."""


def _recorded(url: str, look: bool) -> dict:
    """Where it is, and whether somebody has to look what it says."""
    return {"recorded": url, "look": look}


def send_reading(request) -> dict:
    """Record a reading. Raises ValidationError, ReadingDoubted or AskTime, and records nothing."""
    site, phone = _site_of_reading(request), _phone_time(request)
    form = _whole(ReadingForm(request.POST, site=site, person=request.user, url=""))
    known, typed_at = sent_before(site, form.cleaned_data["key"]), form.cleaned_data["taken_at"]
    taken_at = typed_at or (known.taken_at if known else phone.true_time(timezone.now()).replace(microsecond=0))
    data = ReadingData(**form.facts(), taken_at=taken_at, phone=phone.kept())
    if known is None and "all_the_same" not in request.POST and (doubts := _doubts(data)):
        raise ReadingDoubted(doubts)
    reading = record(by=request.user, data=data)
    return _recorded(reverse("reading_detail", args=[reading.pk]), look=hasattr(reading, "deviation"))


def _site_of_reading(request) -> Site:
    site = site_asked_for(request)
    if site is None:
        raise ValidationError("It is not known at which site this was taken. Take the reading anew.")
    return site


def _whole(form: forms.Form) -> forms.Form:
    """The form, if it can be read. Raises ValidationError in words, each with the name of its field."""
    if form.is_valid():
        return form
    labels = {name: field.label for name, field in form.fields.items() if field.label}
    told = ((labels.get(name), error) for name, errors in form.errors.items() for error in errors)
    raise ValidationError([f"{label}: {error}" if label else error for label, error in told])


def _doubts(data: ReadingData) -> list[str]:
    """As on the sheet of a round: a hold time that is left out is marked, and not asked for again."""
    version = version_in_force(data.limit, data.taken_at)
    return doubts_of(version, track_of(data.probe), replace(data, hold_s=data.hold_s or 0)) if version else []


def send_check(request) -> dict:
    """Record a whole check. Raises ValidationError, UnitAsked or AskTime, and records nothing."""
    probe = get_probe(request.user, number_in(request.POST.get("probe")) or 0, Role.COOK)
    site = get_site(request.user, number_in(request.POST.get("site")) or 0, Role.COOK)
    form, phone = _whole(WholeForm(request.POST)), _phone_time(request)
    known = Check.objects.filter(probe=probe, key=form.cleaned_data["key"]).first()
    at = known.checked_at if known else phone.true_time(timezone.now())
    told = form.cleaned_data
    check = record_whole(by=request.user, probe=probe, site=site, told=told, at=at, phone=phone.kept())
    return _recorded(reverse("check_detail", args=[check.pk]), look=True)


def _phone_time(request) -> PhoneTime:
    form = PhoneTimeForm(request.POST)
    if not form.is_valid():
        raise ValidationError("The time of the phone did not arrive whole.")
    told = form.cleaned_data
    try:
        at, phone_now = (datetime.fromtimestamp(told[name] / 1000, UTC) for name in ("phone_at", "phone_now"))
        off, said = (
            None if (ms := told[name]) is None else timedelta(milliseconds=ms) for name in ("phone_off", "phone_said")
        )
    except (OverflowError, ValueError):
        raise ValidationError("The time of the phone makes no sense.") from None
    return PhoneTime(at=at, off=off, off_now=phone_now - timezone.now(), said=said)
