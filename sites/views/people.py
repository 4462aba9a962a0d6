"""People: who there are, their roles, their signing in."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import Prefetch, Q
from django.forms import Form
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.bounds import number_in
from shared.forms import attempt
from shared.page_numbers import numbered_page

from ..access import clock_of
from ..actions import amend_person, grant, invite_person, rename_person, restart_person, revoke, stop_person
from ..data import NewPerson
from ..forms import EmailForm, FindForm, NameForm, PersonForm, ReasonForm, RoleForm
from ..login_throttle import wrong_passwords
from ..models import Membership
from ..people import (
    colleagues_of,
    get_membership,
    get_person,
    get_person_to_rename,
    get_whole_person,
    people_of,
    require_supervisor,
)
from ..tables import PeopleTable
from .links import show_link
from .parts import former_names, name_facts, place_of, role_facts, roles_of, setup_tabs, sign_in_rows

FORM = ["GET", "HEAD", "POST"]


@require_safe
def people(request):
    require_supervisor(request.user)
    form = FindForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    found = people_in(asked.get("show", ""), request.user)
    if words := asked.get("q"):
        found = found.filter(Q(name__icontains=words) | Q(email__icontains=words))
    roles = Prefetch("memberships", Membership.objects.select_related("site", "area").order_by("-role", "pk"))
    page = numbered_page(found.prefetch_related(roles).order_by("name", "pk"), request)
    table = PeopleTable(page.rows)
    table.pager = page
    return render(
        request,
        "sites/people.html",
        {
            "table": table,
            "tabs": setup_tabs(request.user, "people"),
            "form": form,
            "active": sum(1 for value in asked.values() if value),
            "reset_url": reverse("people"),
        },
    )


def people_in(group: str, supervisor):
    mine = people_of(supervisor)
    if group == "elsewhere":
        return colleagues_of(supervisor).filter(is_active=True).exclude(pk__in=mine.values("pk"))
    return mine.filter(is_active=group != "stopped")


@never_cache
@require_http_methods(FORM)
def person_add(request):
    areas = require_supervisor(request.user)
    data = request.POST or None
    form, role_form = PersonForm(data), RoleForm(data, areas=areas, person=request.user)
    if all([form.is_valid(), role_form.is_valid()]):
        link = attempt(form, invite_person, by=request.user, data=NewPerson(**form.cleaned_data), **role_form.chosen())
        if link:
            messages.success(request, f"{link.person} is in the book.")
            return show_link(request, link)
    return render(request, "sites/person_add.html", {"form": form, "role_form": role_form})


@never_cache
@require_http_methods(FORM)
def person_edit(request, pk):
    reach = get_person(request.user, pk)
    person = reach.person
    if request.method == "POST" and not reach.whole:
        raise PermissionDenied(f"{person} also works in areas that are not yours.")
    form = email_form(request, reach)
    if form and form.is_valid():
        attempt(form, amend_person, by=request.user, person=person, changes=form.cleaned_data)
        if not form.errors:
            messages.success(request, f"{person} is saved.")
            return redirect("person_edit", pk)
    own, elsewhere = roles_by_reach(reach)
    zone = clock_of(request.user)
    return render(
        request,
        "sites/person_edit.html",
        {
            "form": form,
            "person": person,
            "roles": own,
            "elsewhere": role_facts(elsewhere),
            "whole": reach.whole,
            "oneself": person.pk == request.user.pk,
            "may_link": reach.may_link,
            "may_rename": reach.may_rename,
            "names": name_facts(person) + ([] if form else [("E-mail", person.email)]),
            "former": former_names(person, zone),
            "sign_ins": sign_in_rows(person, zone) if reach.whole else [],
            "wrong": wrong_passwords(person.email),
        },
    )


def email_form(request, reach):
    """For those below and oneself: whoever has the e-mail of a person could take their place."""
    may = reach.whole and (reach.below or reach.person.pk == request.user.pk)
    return EmailForm(request.POST or None, instance=reach.person) if may else None


@require_http_methods(FORM)
def person_name(request, pk):
    person = get_person_to_rename(request.user, pk)
    form = NameForm(request.POST or None, instance=person)
    if form.is_valid():
        attempt(form, rename_person, by=request.user, person=person, **form.cleaned_data)
        if not form.errors:
            messages.success(request, f"{person} is the name from now on.")
            return redirect("person_edit", pk)
    return confirm(
        request,
        form,
        title=f"Another name for {person}",
        submit_label="Change the name",
        person=pk,
        lead="Records print the name of their time: what is recorded already keeps the one borne then.",
    )


def roles_by_reach(reach) -> tuple[list[dict], list[Membership]]:
    """The roles that the supervisor may change, as a list to act on, and the others."""
    areas = {area.pk for area in reach.areas}
    memberships = list(roles_of(reach.person))
    own = [m for m in memberships if (m.area_id or m.site.area_id) in areas]
    items = [
        {
            "title": place_of(m),
            "meta": m.get_role_display().capitalize(),
            "action_label": "Take away",
            "action_url": reverse("role_remove", args=[m.pk]),
        }
        for m in own
    ]
    return items, [m for m in memberships if m not in own]


@require_http_methods(FORM)
def role_add(request, pk):
    reach = get_person(request.user, pk)
    form = RoleForm(request.POST or None, areas=reach.areas, person=request.user)
    if form.is_valid():
        attempt(form, grant, by=request.user, person=reach.person, **form.chosen())
        if not form.errors:
            messages.success(request, f"{reach.person} has the role.")
            return redirect("person_edit", pk)
    return confirm(
        request,
        form,
        title=f"Give {reach.person} a role",
        submit_label="Give the role",
        person=pk,
        lead="It takes the place of a role held at the same site or for the same area.",
    )


@require_http_methods(FORM)
def role_remove(request, pk):
    membership = get_membership(request.user, pk)
    person = membership.person
    form = Form(request.POST if request.method == "POST" else None)
    if form.is_valid():
        attempt(form, revoke, by=request.user, membership=membership)
        if not form.errors:
            messages.success(request, f"{person} no longer has that role.")
            if person.pk == request.user.pk:
                return redirect("home")
            return redirect("person_edit", person.pk)
    return confirm(
        request,
        form,
        title=f"Take this role from {person}?",
        submit_label="Take it away",
        tone="danger",
        person=person.pk,
        facts=role_facts([membership]),
        lead="What they recorded stays in the book, under their name.",
    )


@require_http_methods(FORM)
def person_stop(request, pk):
    person = get_whole_person(request.user, pk).person
    if person.pk == request.user.pk:
        raise PermissionDenied("Another supervisor has to stop your signing in.")
    form = ReasonForm(request.POST or None, initial={"stops": person.revocations})
    if form.is_valid():
        attempt(form, stop_person, by=request.user, person=person, **form.cleaned_data)
        if not form.errors:
            messages.success(request, f"{person} may no longer sign in.")
            return redirect("person_edit", pk)
    return confirm(
        request,
        form,
        title=f"Stop {person} signing in?",
        submit_label="Stop signing in",
        tone="danger",
        person=pk,
        lead="What they recorded stays in the book, under their name. You can undo this.",
    )


@require_POST
def person_restart(request, pk):
    person = get_whole_person(request.user, pk).person
    try:
        restart_person(by=request.user, person=person, stops=number_in(request.POST.get("stops")))
        messages.success(request, f"{person} may sign in again.")
    except ValidationError as refused:
        messages.info(request, " ".join(refused.messages))
    return redirect("person_edit", pk)


def confirm(request, form, *, person: int, **context):
    back = reverse("person_edit", args=[person])
    return render(
        request,
        "components/confirm.html",
        {"form": form, "cancel_url": back, "back_url": back, "back_label": "The person", **context},
    )
