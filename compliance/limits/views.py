from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from shared.forms import attempt
from shared.stale_forms import newest
from sites.access import get_site, may
from sites.models import Role

from .access import get_limit
from .actions import add, adopt, adopt_rules, change, retire
from .comparing import looser_than
from .forms import AdoptForm, AdoptOneForm, ChangeForm, OwnLimitForm, RetireForm, figures_of
from .models import LimitVersion, Origin, Rule
from .queries import history, limits_with_version, rule_sets_for, rules_to_adopt, version_in_force
from .tables import LimitTable, VersionTable, with_states
from .wording import demand

FORM = ["GET", "HEAD", "POST"]


@require_safe
def limit_list(request, site_pk):
    site = get_site(request.user, site_pk)
    table = LimitTable(limits_now(site), site)
    return render(
        request,
        "limits/limit_list.html",
        {
            "site": site,
            "table": table,
            "manages": may(request.user, site, Role.MANAGER),
            "none": not table.data.data,
            "lead": f"{site}. A reading is judged by the limit in force at its time.",
        },
    )


def limits_now(site) -> list:
    """The site's limits with the version that counts and the next to come. Three queries for any number."""
    now = timezone.now()
    limits = list(limits_with_version(site, now))
    versions = LimitVersion.objects.in_bulk([limit.counts for limit in limits if limit.counts])
    coming = LimitVersion.objects.filter(limit__site=site, effective_from__gt=now).order_by("-effective_from", "pk")
    following = {version.limit_id: version for version in coming}
    for limit in limits:
        limit.version, limit.next = versions.get(limit.counts), following.get(limit.pk)
    return limits


@require_http_methods(FORM)
def limit_adopt(request, site_pk):
    """Rules of one set, ticked and taken on as they stand."""
    site = get_site(request.user, site_pk, Role.MANAGER)
    sets = rule_sets_for(site)
    chosen = next((s for s in sets if s.code == request.GET.get("set")), sets[0] if sets else None)
    rules = rules_to_adopt(site).filter(rule_set=chosen).order_by("position", "code")
    form = AdoptForm(request.POST or None, site=site, rules=rules)
    if form.is_valid():
        limits = attempt(form, adopt_rules, by=request.user, site=site, **form.cleaned_data)
        if limits:
            messages.success(request, f"{len(limits)} limit{'s' if len(limits) > 1 else ''} adopted.")
            return redirect("limit_list", site.pk)
    return render(
        request,
        "limits/limit_adopt.html",
        {
            "site": site,
            "form": form,
            "chosen": chosen,
            "any": rules.exists(),
            "tabs": [{"label": str(s), "url": f"?set={s.code}", "current": s == chosen} for s in sets],
        },
    )


@require_http_methods(FORM)
def rule_adopt(request, site_pk, pk):
    """One rule, with figures of the site's own."""
    site, rule = rule_for(request.user, site_pk, pk)
    form = AdoptOneForm(request.POST or None, site=site, unit=rule.unit, initial=figures_of(rule))
    if form.is_valid():
        limit = attempt(form, adopt, by=request.user, site=site, rule=rule, **form.figures())
        if limit:
            messages.success(request, f"{limit} is adopted.")
            return redirect("limit_detail", limit.pk)
    return render(
        request,
        "limits/limit_form.html",
        {
            "form": form,
            "title": rule.title,
            "lead": f"The rule: {demand(rule)}. You may be stricter freely.",
            "back_url": reverse("limit_adopt", args=[site.pk]) + f"?set={rule.rule_set.code}",
            "back_label": "Adopt rules",
            "submit_label": "Adopt",
            "facts": rule_facts(rule),
        },
    )


def rule_for(person, site_pk, pk):
    site = get_site(person, site_pk, Role.MANAGER)
    rule = Rule.objects.select_related("rule_set").filter(pk=pk).first()
    if rule is None:
        raise Http404
    return site, rule


@require_http_methods(FORM)
def limit_add(request, site_pk):
    site = get_site(request.user, site_pk, Role.MANAGER)
    form = OwnLimitForm(request.POST or None, site=site, unit=site.unit)
    if form.is_valid():
        limit = attempt(form, add, by=request.user, site=site, **form.figures())
        if limit:
            messages.success(request, f"{limit} is set.")
            return redirect("limit_detail", limit.pk)
    return render(
        request,
        "limits/limit_form.html",
        {
            "form": form,
            "title": "A limit of your own",
            "submit_label": "Set the limit",
            "lead": "For what no rule covers, or where your plan asks for something else.",
            "back_url": reverse("limit_list", args=[site.pk]),
            "back_label": "Limits",
        },
    )


@require_safe
def limit_detail(request, pk):
    limit = get_limit(request.user, pk)
    now = timezone.now()
    versions = with_states(list(history(limit)), now)
    current = version_in_force(limit, now)
    return render(
        request,
        "limits/limit_detail.html",
        {
            "limit": limit,
            "current": current,
            "facts": limit_facts(limit, current or versions[0]),
            "heading": demand(current) if current else "Not in force now",
            "looser": loosenesses(limit, current),
            "reason": current.reason if current else "",
            "table": VersionTable(versions, limit.site),
            "manages": may(request.user, limit.site, Role.MANAGER),
        },
    )


def loosenesses(limit, version) -> list[str]:
    if not limit.rule or not version:
        return []
    return looser_than(limit.rule, value=version.value, hold_s=version.hold_s, within_s=version.within_s)


def limit_facts(limit, version) -> list[tuple[str, str]]:
    facts = [("Step", limit.step), ("Guards against", limit.hazard), ("When it is not met", version.usual_action)]
    if limit.rule:
        return facts + [
            ("Its rule asks for", demand(limit.rule)),
            *source_facts(limit.rule),
            ("Short name", limit.code),
        ]
    return [*facts, ("Source", version.source), ("Short name", limit.code)]


def rule_facts(rule) -> list[tuple[str, str]]:
    return [
        ("Asks for", demand(rule)),
        ("Step", rule.step),
        ("Guards against", rule.hazard),
        ("When it is not met", rule.usual_action),
        *source_facts(rule),
    ]


def source_facts(rule) -> list[tuple[str, str]]:
    facts = [
        ("Source", rule.source),
        ("Rule set", str(rule.rule_set)),
        ("How well it is known", Origin(rule.origin).label),
    ]
    return [*facts, ("Note", rule.note)] if rule.note else facts


@require_http_methods(FORM)
def limit_change(request, pk, amend=change):
    """`amend`: what a floor above hangs on a limit, such as its rounds, follows there in the same transaction."""
    limit = get_limit(request.user, pk, Role.MANAGER)
    latest = version_in_force(limit, timezone.now()) or history(limit)[0]
    initial = figures_of(latest) | {"after": newest(limit.versions.all())}
    form = ChangeForm(request.POST or None, site=limit.site, unit=latest.unit, initial=initial)
    if form.is_valid():
        version = attempt(form, amend, by=request.user, limit=limit, **form.figures())
        if version:
            messages.success(request, f"Set: {demand(version)}.")
            return redirect("limit_detail", pk)
    return render(
        request,
        "limits/limit_form.html",
        {
            "form": form,
            "title": f"Change “{limit}”",
            "submit_label": "Set these figures",
            "lead": lead_of_change(limit),
            "back_url": reverse("limit_detail", args=[pk]),
            "back_label": "The limit",
            "past": True,
        },
    )


def lead_of_change(limit) -> str:
    rule = f" Its rule asks for: {demand(limit.rule)}." if limit.rule else ""
    return f"What held until now stays in the history.{rule}"


@require_http_methods(FORM)
def limit_retire(request, pk, amend=retire):
    """`amend`: as for a change."""
    limit = get_limit(request.user, pk, Role.MANAGER)
    form = RetireForm(request.POST or None, site=limit.site, initial={"after": newest(limit.versions.all())})
    if form.is_valid():
        version = attempt(form, amend, by=request.user, limit=limit, **form.cleaned_data)
        if version:
            messages.success(request, f"{limit.site} no longer works under “{limit}” from then on.")
            return redirect("limit_list", limit.site_id)
    back = reverse("limit_detail", args=[pk])
    return render(
        request,
        "components/confirm.html",
        {
            "title": f"Retire “{limit}”?",
            "lead": "No more readings are taken against it. Its history stays in the book.",
            "form": form,
            "tone": "danger",
            "submit_label": "Retire it",
            "back_url": back,
            "back_label": "The limit",
            "cancel_url": back,
        },
    )
