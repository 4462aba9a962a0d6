"""What the pages of readings have in common."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from compliance.limits.queries import version_in_force
from compliance.limits.wording import demand

from ..forms import AllTheSameForm
from ..judging import beginning
from ..wording import limit_notes


def reading_page(request, form, doubts, **told):
    """The form of one reading; with `doubts` it asks once whether to save it all the same."""
    about = limit_told(form)
    return render(request, "readings/reading_form.html", {
        "form": form, "doubts": doubts, "all_the_same": AllTheSameForm() if doubts else None,
        "about": about, "site": form.site, "more_open": form.more_is_wrong, **told,
    })  # fmt: skip


def part_asked_for(request, form):
    """A part of the form drawn again: the limit as the probe or the limit changes, or the value in the other unit."""
    name = "value_part" if request.htmx.target == "value-part" else "limit_part"
    return render(request, f"readings/{name}.html", {"form": form, "about": limit_told(form)})


def limit_told(form) -> dict | None:
    """What the chosen limit asks for now; None while none is chosen."""
    limit = form.chosen_limit or form.limits.get(str(form.initial.get("limit", "")))
    version = limit and version_in_force(limit, timezone.now())
    if not version:
        return None
    form.fields["since_start_s"].label = f"Time since {beginning(version)} began"
    return {
        "demand": demand(version),
        "notes": limit_notes(version),
        "hold": bool(version.hold_s),
        "since": bool(version.within_s),
    }


def list_tabs(current: str) -> list[dict]:
    pages = (("reading_list", "Readings"), ("deviation_list", "Deviations"))
    return [{"label": label, "url": reverse(name), "current": name == current} for name, label in pages]


def voided_notice(request, reading):
    """A void reading is not worked on again: go to it, and say so."""
    if getattr(reading, "void", None) is None:
        return None
    messages.error(request, "This reading is void already. Work on the one that replaced it, if there is one.")
    return redirect("reading_detail", reading.pk)
