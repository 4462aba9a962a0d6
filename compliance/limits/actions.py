"""What is written about limits: adopting a rule, setting a limit of one's own, changing and retiring one."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.utils.text import slugify

from shared.audit.trail import action, note
from shared.bounds import begins_now, from_now, in_bounds
from shared.reasons import as_reason
from shared.saving import save_checked
from shared.stale_forms import entered, refuse_newer
from shared.units import to_milli
from sites.models import Person, Site

from .comparing import lets_more_pass, looser_than
from .data import OwnFigures, OwnLimit
from .models import Direction, Limit, LimitVersion, Origin, Rule
from .queries import effective_at
from .wording import demand

FIGURES = (
    "direction",
    "value",
    "unit",
    "hold_s",
    "within_s",
    "target_milli",
    "usual_action",
    "source",
    "edition",
    "origin",
)
AS_IT_STANDS = OwnFigures()
FIXED_BY_RULE = ("direction", "unit", "source", "edition", "origin")
DATED_BACK = (
    "What was out of its limit then must stay so: a limit is loosened or retired from now on, and only tightened for days "
    "that are over. Leave the time that is shown, or give a later one."
)


@action("limit.adopt")
def adopt(
    *, by: Person, site: Site, rule: Rule, effective_from: datetime, own: OwnFigures = AS_IT_STANDS, reason: str = ""
) -> Limit:
    """A site takes on a rule, as it stands or with figures of its own.

    Raises ValidationError where the site has it already, or where it would be looser than the rule and no reason is given.
    """
    Site.objects.select_for_update().get(pk=site.pk)  # of two who adopt it at once, the second is told
    if Limit.objects.filter(site=site, rule=rule).exists():
        raise ValidationError(f"{site} has adopted “{rule}” already. Change that limit instead.")
    limit = Limit(
        site=site, rule=rule, code=_free_code(site, rule.code), step=rule.step, title=rule.title, hazard=rule.hazard
    )
    save_checked(limit)
    figures = {
        "direction": rule.direction,
        "value": rule.value if own.value is None else own.value,
        "unit": rule.unit,
        "hold_s": own.hold_s or rule.hold_s,
        "within_s": own.within_s or rule.within_s,
        "target_milli": own.target_milli,
        "usual_action": rule.usual_action,
        "source": rule.source,
        "edition": rule.rule_set.edition,
        "origin": rule.origin,
    }
    version = _write(_version(by, limit, figures, effective_from, reason))
    note("limit.adopt", by=by, subject=limit, site_id=site.pk, reason=reason.strip(), demands=demand(version))
    return limit


@action("limits.adopt")
def adopt_rules(*, by: Person, site: Site, rules: Iterable[Rule], effective_from: datetime) -> list[Limit]:
    """A site takes on several rules as they stand: all or, where one is refused (ValidationError), none."""
    limits = [adopt(by=by, site=site, rule=rule, effective_from=effective_from) for rule in rules]
    if not limits:
        raise ValidationError({"rules": "Choose at least one rule."})
    note("limits.adopt", by=by, subject=site, site_id=site.pk, limits=[limit.pk for limit in limits])
    return limits


@action("limit.add")
def add(*, by: Person, site: Site, own: OwnLimit, effective_from: datetime, reason: str = "") -> Limit:
    """A limit of the site's own, such as one from its plan.

    Raises ValidationError for a code that is taken and, without a code, for a title that is at this step.
    """
    Site.objects.select_for_update().get(pk=site.pk)  # of the same sent twice at once the second is told
    code, title, step = own.code.strip(), own.title.strip(), own.step.strip()
    if Limit.objects.filter(site=site, code=code).exists():
        raise ValidationError({"code": f"{site} has a limit with the short name “{code}” already."})
    if not code and Limit.objects.filter(site=site, title=title, step=step, rule=None).exists():
        raise ValidationError(
            {
                "title": f"{site} has a limit “{title}” of its own already. Change that one, or give this "
                "one another title or a short name."
            }
        )
    code = code or _free_code(site, slugify(title))
    limit = Limit(site=site, code=code, step=step, title=title, hazard=own.hazard.strip())
    save_checked(limit)
    figures = {
        "direction": own.direction,
        "value": own.value,
        "unit": own.unit,
        "hold_s": own.hold_s,
        "within_s": own.within_s,
        "target_milli": own.target_milli,
        "usual_action": own.usual_action.strip(),
        "edition": own.edition.strip(),
        "source": own.source.strip() or "The site's own food safety plan",
        "origin": Origin.PRACTICE,
    }
    version = _write(_version(by, limit, figures, effective_from, reason))
    note("limit.add", by=by, subject=limit, site_id=site.pk, reason=reason.strip(), demands=demand(version))
    return limit


@action("limit.change")
def change(
    *, by: Person, limit: Limit, effective_from: datetime, reason: str = "", after: int | None = None, **changes
) -> LimitVersion:
    """Another version of a limit; what is not named in `changes` stays as it is at that moment. `after`: the newest version that
    `by` was shown.

    Raises ValidationError where nothing changes, where the version would be looser than its rule or begin in the past and
    no reason is given, and TypeError for a field that a version does not have or that its rule fixes.
    """
    allowed = [n for n in FIGURES if not (limit.rule_id and n in FIXED_BY_RULE)]
    if unknown := set(changes) - set(allowed):
        raise TypeError(f"This limit has no {', '.join(sorted(unknown))} to change.")
    effective_from = from_now(effective_from)
    before = _before(limit, effective_from)
    figures = {name: getattr(before, name) for name in FIGURES} | changes
    if before.in_force and all(getattr(before, name) == value for name, value in figures.items()):
        raise ValidationError(
            "Nothing is different from what holds at that time. Change a figure, or leave it as it is."
        )
    refuse_newer(after, limit.versions.all(), _told)
    version = _write(_version(by, limit, figures, effective_from, reason), before)
    note(
        "limit.change",
        by=by,
        subject=limit,
        site_id=limit.site_id,
        reason=reason.strip(),
        before=demand(before),
        after=demand(version),
    )
    return version


@action("limit.retire")
def retire(
    *, by: Person, limit: Limit, effective_from: datetime, reason: str, after: int | None = None
) -> LimitVersion:
    """From then on the site does not work under this limit. Raises ValidationError without a reason, where it is retired, and for
    a time that is over; `after` as for a change."""
    reason = as_reason(reason, ask="Say why the site no longer works under this limit.", usual="retire")
    effective_from = from_now(effective_from)
    before = _before(limit, effective_from)
    if not before.in_force:
        raise ValidationError("The site does not work under this limit at that time anyway.")
    refuse_newer(after, limit.versions.all(), _told)
    figures = {name: getattr(before, name) for name in FIGURES}
    version = _version(by, limit, figures, effective_from, reason)
    version.in_force = False
    _write(version, before)
    note("limit.retire", by=by, subject=limit, site_id=limit.site_id, reason=reason.strip(), before=demand(before))
    return version


def _told(version: LimitVersion) -> str:
    return entered(version, demand(version) if version.in_force else "it is retired")


def _before(limit: Limit, at: datetime) -> LimitVersion:
    """What the version is to follow: the one that counts at its moment, or else the first that is to come."""
    return effective_at(at).filter(limit=limit).first() or limit.versions.order_by("effective_from", "-pk").first()


def _version(by: Person, limit: Limit, figures: dict, effective_from: datetime, reason: str) -> LimitVersion:
    return LimitVersion(
        recorded_by=by,
        limit=limit,
        effective_from=effective_from,
        reason=as_reason(reason),
        value_milli=to_milli(figures["value"], figures["unit"]),
        **figures,
    )


def _write(version: LimitVersion, before: LimitVersion | None = None) -> LimitVersion:
    begins = version.effective_from
    in_bounds(begins, "effective_from")
    version.full_clean()
    if before and before.effective_from <= begins and not begins_now(begins):
        _refuse_looser(before, version)
    _refuse_unreasoned(version)
    _refuse_target_outside(version)
    version.save()
    return version


def _refuse_looser(before: LimitVersion, version: LimitVersion) -> None:
    if lets_more_pass(before, version):
        raise ValidationError({"effective_from": DATED_BACK})


def _refuse_unreasoned(version: LimitVersion) -> None:
    """Looser than the rule, or beginning in the past: either needs a reason."""
    if version.reason:
        return
    rule = version.limit.rule
    ways = looser_than(rule, value=version.value, hold_s=version.hold_s, within_s=version.within_s) if rule else []
    if ways and version.in_force:
        raise ValidationError({"reason": f"This is looser than its rule ({'; '.join(ways)}). Say why, and who agreed."})
    first = not LimitVersion.objects.filter(limit=version.limit_id).exists()
    if not first and not begins_now(version.effective_from):
        raise ValidationError({"reason": "This begins in the past. Say why, and from what you know that it held then."})


def _refuse_target_outside(version: LimitVersion) -> None:
    if version.target_milli is not None and version.breached_by(version.target_milli):
        side = "lower" if version.direction == Direction.AT_MOST else "higher"
        raise ValidationError({"target": f"The target lies beyond the limit. Give a {side} one."})


def _free_code(site: Site, code: str) -> str:
    """The code, with a number behind it where the site has one of that name."""
    taken = set(Limit.objects.filter(site=site, code__startswith=code[:44]).values_list("code", flat=True))
    tries = [code, *(f"{code[:44]}-{n}" for n in range(2, len(taken) + 3))]
    return next(c for c in tries if c not in taken)
