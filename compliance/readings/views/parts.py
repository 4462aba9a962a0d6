"""What the pages of readings have in common."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from compliance.checks.fitness import fitness_of
from compliance.limits.queries import version_in_force
from compliance.limits.wording import demand
from sites.access import may
from sites.models import Role

from ..forms import AllTheSameForm, sentence
from ..limit_evaluation import beginning
from ..queries import fit_probes
from ..wording import limit_notes
from ..worth import instead, probe_heading

SAY_WHY = "Say why, or choose another probe."


def reading_page(request, form, doubts, **told):
    """The form of one reading; with `doubts` it asks once whether to save it all the same.

    Where the probe is not to be used it asks for the reason, with all that was typed kept.
    """
    probe = probe_told(form)
    asks_why = form.asks_why or bool(doubts and probe and probe["tone"] == "bad")
    form.fields["used_despite"].required = asks_why
    if "used_despite" in form.errors and not form["used_despite"].value():
        form.errors["used_despite"] = form.error_class([SAY_WHY])  # the box beside it says the rest
    all_the_same = AllTheSameForm(initial={"all_the_same": "all_the_same" in request.POST})
    return render(
        request,
        "readings/reading_form.html",
        {
            "form": form,
            "doubts": doubts,
            "all_the_same": all_the_same if doubts else None,
            "probe": probe,
            "asks_why": asks_why,
            "about": limit_told(form),
            "site": form.site,
            "more_open": form.more_is_wrong,
            "lack": None if form.is_bound else _lack(request.user, form),
            **told,
        },
    )


def _lack(person, form) -> dict | None:
    """What a site needs before a reading can be taken there, and where its manager adds it."""
    manages = may(person, form.site, Role.MANAGER)
    if not form.limits:
        url = reverse("limit_adopt", args=[form.site.pk])
        words = ("No limit holds here yet", "A reading is taken against a limit.", "Choose the limits")
    elif not form.fields["probe"].queryset.exists():
        url = f"{reverse('probe_add')}?site={form.site.pk}"
        words = ("No probe is here yet", "A reading is taken with a probe that was checked.", "Add a probe")
    else:
        return None
    heading, text, label = words
    return {
        "heading": heading,
        "text": text if manages else f"{text} The site's manager adds it.",
        "url": url if manages else "",
        "label": label,
    }


def part_asked_for(request, form):
    """A part of the form drawn again: the limit as the probe or the limit changes, or the value in the other unit."""
    if request.htmx.target == "value-part":
        return render(request, "readings/value_part.html", {"form": form})
    context = {"form": form, "about": limit_told(form), "probe": probe_told(form), "asks_why": form.asks_why}
    return render(request, "readings/limit_part.html", context)


def probe_told(form) -> dict | None:
    """What speaks against the chosen probe, and what to take instead; None where nothing does, or none is chosen."""
    probe, now = form.chosen_probe, timezone.now()
    found = probe and fitness_of([probe.pk], form.typed_time or now)[probe.pk]
    if not found or found.ok:
        return None
    others = fit_probes(form.site, form.asked_limit, now, but=probe.pk)
    return {
        "tone": "bad" if found.refused else "caution",
        "heading": probe_heading(found.state, str(probe)),
        "text": f"{sentence(found.why(form.site.zone, now))}.",
        "lines": [instead([str(other) for other in others])],
    }


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
