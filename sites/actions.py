"""Everything that is written about businesses, areas, sites, people and their roles."""

from django.core.exceptions import ValidationError
from django.db import models

from shared import clock
from shared.audit.trail import action, note
from shared.dated import DatedModel, refuse_correction, refuse_overtaken
from shared.reasons import as_reason
from shared.saving import save_checked

from .data import NewPerson
from .login_throttle import forget_tries
from .models import Area, Business, Membership, PasswordLink, Person, PersonName, Role, Site
from .password_links import GONE, live_link, may_make_link, newest_link
from .ranks import heads_of, is_below, may_rename

BUSINESS_FIELDS = ("name", "decision_rule", "reliability_target", "review_days")
SITE_FIELDS = (
    "area",
    "name",
    "address",
    "time_zone",
    "unit",
    "altitude_m",
    "paper",
    "country",
    "subdivision",
    "closed_on_holidays",
    "closed",
)
PERSON_FIELDS = ("email",)
NAME_FIELDS = ("name", "initials")

EMAIL_OF_A_PEER = (
    "{} ranks no lower than you. A supervisor of all areas can change the e-mail of those who supervise fewer."
)
NAME_OF_A_PEER = (
    "The name of {} is changed by a supervisor who ranks above: it is printed under what they recorded, so that nobody changes "
    "their own."
)
LINK_FOR_A_PEER = (
    "{} ranks no lower than you. The link has to come from a supervisor of all areas who ranks above, or from whoever runs "
    "Noughtbook, by “manage.py password_link”."
)
CLOSING = "A site is closed, or opened again, from now on. Save that by itself, and the correction by itself."
LOWERING_A_PEER = (
    "{0} supervises {1} as you do. Only {0} can give that up, "
    "or a supervisor of all areas who ranks above take it away."
)


@action("business.found")
def found_business(*, by: None, business: str, area: str, supervisor: NewPerson) -> tuple[Business, Area, Person]:
    """A first business with one area and its supervisor. Raises ValidationError where one of them is not acceptable."""
    founded = add_business(by=by, name=business)
    first_area = add_area(by=by, business=founded, name=area)
    person = add_person(by=by, data=supervisor, role=Role.SUPERVISOR, area=first_area)
    note("business.found", by=by, subject=founded, supervisor=person.pk)
    return founded, first_area, person


@action("business.add")
def add_business(*, by: Person | None, name: str) -> Business:
    """A business. Raises ValidationError for a name that is empty or too long."""
    business = save_checked(Business(name=name.strip()))
    business.record_settings(by=by)
    note("business.add", by=by, subject=business)
    return business


@action("business.amend")
def amend_business(
    *,
    by: Person,
    business: Business,
    changes: dict,
    reason: str = "",
    corrects: bool = False,
    after: int | None = None,
) -> Business:
    """Another name, or other rules for checks, from now on; as a correction from the first moment of what it corrects.

    Raises ValidationError for a field out of range, for another decision rule without a reason, where there is a newer change
    than `after`, and as `_amend` does.
    """
    business.refresh_from_db(from_queryset=Business.objects.select_for_update())
    refuse_overtaken(business, after)
    changes = {**changes, **({"name": changes["name"].strip()} if "name" in changes else {})}
    if changes.get("decision_rule", business.decision_rule) != business.decision_rule:
        as_reason(reason, ask="Say why checks are to be judged by another rule.")
    told, reason = _amend(by, business, changes, BUSINESS_FIELDS, reason, corrects)
    note("business.amend", by=by, subject=business, reason=reason, changes=told, **_marked(corrects))
    return business


@action("area.add")
def add_area(*, by: Person | None, business: Business, name: str) -> Area:
    """An area, supervised by whoever adds it and by those who supervise all the others, so that nobody comes to rank above
    them by it. Raises ValidationError where the business has one of that name."""
    heads = list(heads_of(business)) if by else []
    area = save_checked(Area(business=business, name=name.strip()))
    note("area.add", by=by, subject=area)
    for person in {by, *heads} if by else ():
        grant(by=by, person=person, role=Role.SUPERVISOR, area=area)
    return area


@action("area.amend")
def amend_area(*, by: Person, area: Area, name: str) -> Area:
    """Another name for an area. Raises ValidationError where the business has one of that name."""
    changes = _apply(area, {"name": name.strip()}, ("name",))
    note("area.amend", by=by, subject=area, changes=changes)
    return area


@action("site.add")
def add_site(*, by: Person | None, area: Area, name: str, **fields) -> Site:
    """A site in an area. Raises ValidationError for a name that the area has already, or a field out of range."""
    site = save_checked(Site(area=area, name=name.strip(), **fields))
    site.record_settings(by=by)
    note("site.add", by=by, subject=site, site_id=site.pk)
    return site


@action("site.amend")
def amend_site(
    *, by: Person, site: Site, changes: dict, reason: str = "", corrects: bool = False, after: int | None = None
) -> Site:
    """Other settings of a site from now on; as a correction from the first moment of what it corrects.

    Raises ValidationError for a field out of range, an area of another business, a closing as a correction, where there is a
    newer change than `after`, and as `_amend` does.
    """
    site.refresh_from_db(from_queryset=Site.objects.select_for_update())
    refuse_overtaken(site, after)
    if "area" in changes and changes["area"].business_id != site.area.business_id:
        raise ValidationError({"area": "A site stays with its business."})
    if corrects and changes.get("closed", site.closed) != site.closed:
        raise ValidationError({"closed": CLOSING})
    if site.closed and changes.get("closed") is False:
        site.reopened_at = clock.now()
    told, reason = _amend(by, site, changes, SITE_FIELDS, reason, corrects)
    note("site.amend", by=by, subject=site, site_id=site.pk, reason=reason, changes=told, **_marked(corrects))
    return site


@action("person.add")
def add_person(
    *, by: Person | None, data: NewPerson, role: int, site: Site | None = None, area: Area | None = None
) -> Person:
    """A person with a first role, at a site or for an area. Raises ValidationError."""
    person = Person(email=data.email.strip().lower(), name=data.name.strip(), initials=data.initials.strip())
    person.set_password(data.password)
    save_checked(person)
    PersonName.objects.create(person=person, name=person.name, initials=person.initials, recorded_by=by)
    note("person.add", by=by, subject=person, email=person.email)
    grant(by=by, person=person, role=role, site=site, area=area)
    return person


@action("person.invite")
def invite_person(*, by: Person, data: NewPerson, **role) -> PasswordLink:
    """A person, as `add_person` takes them, and the link by which they choose their first password. Raises ValidationError."""
    person = add_person(by=by, data=data, **role)
    link = PasswordLink.objects.create(person=person, made_by=by)
    note("person.invite", by=by, subject=person, link=link.pk)
    return link


@action("person.amend")
def amend_person(*, by: Person, person: Person, changes: dict) -> Person:
    """Another e-mail. Raises ValidationError for one that is taken, and for that of a colleague who does not rank below."""
    changes = {name: text.strip().lower() for name, text in changes.items()}
    _hold(person)
    if changes.get("email", person.email) != person.email and by.pk != person.pk and not is_below(person, by):
        raise ValidationError({"email": EMAIL_OF_A_PEER.format(person)})
    note("person.amend", by=by, subject=person, changes=_apply(person, changes, PERSON_FIELDS))
    return person


@action("person.rename")
def rename_person(*, by: Person, person: Person, name: str, initials: str, reason: str) -> Person:
    """Another name or other initials from now on; what is recorded keeps those of its time.

    Raises ValidationError for a person who does not rank below `by` (see `ranks.may_rename`), without a reason, and where
    nothing would change.
    """
    _hold(person)
    if not may_rename(by, person):
        raise ValidationError(NAME_OF_A_PEER.format(person))
    reason = as_reason(reason, ask="Say why the name changes.")
    former = {f"former_{field}": getattr(person, field) for field in NAME_FIELDS}
    told = _apply(person, {"name": name.strip(), "initials": initials.strip()}, NAME_FIELDS)
    if not told:
        raise ValidationError({"name": f"{person} ({person.initials}) is the name already."})
    PersonName.objects.create(
        person=person, name=person.name, initials=person.initials, reason=reason, recorded_by=by, **former
    )
    note("person.rename", by=by, subject=person, reason=reason, changes=told)
    return person


@action("person.stop")
def stop_person(*, by: Person, person: Person, reason: str, stops: int | None = None) -> Person:
    """The person may no longer sign in; everything they recorded stays. Their sessions, known devices and password links end
    for good. `stops`: how often they had been stopped when `by` was shown them. Raises ValidationError for an area's last
    supervisor, and where they are stopped already or were since."""
    _as_shown(person, stops, active=True)
    for area in _lock_areas(Area.objects.filter(memberships__in=_supervising(person))):
        _refuse_last_supervisor(area, person)
    reason = as_reason(reason, ask="Say why.", usual="stop")
    Person.objects.filter(pk=person.pk).update(is_active=False, revocations=models.F("revocations") + 1)
    person.refresh_from_db(fields=["is_active", "revocations"])
    note("person.stop", by=by, subject=person, reason=reason)
    return person


@action("person.restart")
def restart_person(*, by: Person, person: Person, stops: int | None = None) -> Person:
    """The person may sign in again, with the roles they had. `stops` as for stopping; raises ValidationError where they may
    already, or were stopped again since."""
    _as_shown(person, stops, active=False)
    person.is_active = True
    person.save(update_fields=["is_active"])
    note("person.restart", by=by, subject=person)
    return person


@action("person.password")
def change_password(*, by: Person, password: str) -> Person:
    """Another password of one's own. Wrong ones are forgotten, and links to choose one hold no longer."""
    _set_password(by, password)
    note("person.password", by=by, subject=by)
    return by


@action("person.password_link")
def make_password_link(*, by: Person | None, person: Person, after: int | None = None) -> PasswordLink:
    """A link by which a person chooses a password; it takes the place of the one before. `by` nobody: the command.

    `after`: the newest link that `by` was shown (0: none), so that a page that is sent twice makes one link. Raises
    ValidationError for a person who was stopped or does not rank below, and where there is a newer link.
    """
    Person.objects.select_for_update().get(pk=person.pk)  # of two who make one at once, the second is told of the first
    newest = newest_link(person)
    if not person.is_active:
        raise ValidationError(f"{person} may not sign in. Let them sign in again first.")
    if by and not may_make_link(by, person):
        raise ValidationError(LINK_FOR_A_PEER.format(person))
    if after is not None and newest and newest.pk != after:
        raise ValidationError(f"{newest.maker} has made a link meanwhile. Another one ends it.", code="newer")
    link = PasswordLink.objects.create(person=person, made_by=by)
    note("person.password_link", by=by, subject=person, link=link.pk)
    return link


@action("person.password_by_link")
def use_password_link(*, by: Person, link: PasswordLink, token: str, password: str) -> Person:
    """The password that the person chose by a link, which is used up by it; `by` is that person. Raises ValidationError where
    the link does not hold any more."""
    person = Person.objects.select_for_update().get(pk=link.person_id)
    if live_link(link.pk, token) is None:
        raise ValidationError(GONE)
    _set_password(person, password)
    PasswordLink.objects.filter(pk=link.pk).update(used_at=clock.now())
    note("person.password_by_link", by=by, subject=person, link=link.pk, made_by=link.maker)
    return person


@action("person.sign_in")
def record_sign_in(*, by: Person, address: str, known_device: bool, wrong_before: int) -> None:
    """That somebody signed in: from which network address, whether on a device that they had signed in on before, and how
    many wrong passwords were typed for them since the last time."""
    told = {"address": address, "known_device": known_device, "wrong_before": wrong_before}
    note("person.sign_in", by=by, subject=by, **told)


@action("role.grant")
def grant(
    *, by: Person | None, person: Person, role: int, site: Site | None = None, area: Area | None = None
) -> Membership:
    """A role at a site or for a whole area, in place of the one held there.

    Raises ValidationError for no place, for a role that is not known, where an area would lose its last supervisor, and where
    `by` would have a peer supervise it no longer.
    """
    if (site is None) == (area is None):
        raise ValidationError("A role is held at a site or for an area: name one of them.")
    if role not in Role.values:
        raise ValidationError({"role": "Choose a role."})
    if area and role < Role.SUPERVISOR:
        _refuse_to_lower_a_peer(by, area, person)
        _refuse_last_supervisor(_lock_areas(Area.objects.filter(pk=area.pk))[0], person)
    membership, _ = Membership.objects.update_or_create(person=person, site=site, area=area, defaults={"role": role})
    place = site or area
    note(
        "role.grant", by=by, subject=person, site_id=site.pk if site else None, role=Role(role).label, place=str(place)
    )
    return membership


@action("role.revoke")
def revoke(*, by: Person, membership: Membership) -> None:
    """Take a role away. Raises ValidationError for a person's only role, an area's last supervisor and a peer's supervision."""
    person = membership.person
    if membership.area_id:
        _refuse_to_lower_a_peer(by, membership.area, person)
        _refuse_last_supervisor(_lock_areas(Area.objects.filter(pk=membership.area_id))[0], person)
    if not person.memberships.exclude(pk=membership.pk).exists():
        raise ValidationError(f"This is the only role of {person}. Give another first, or stop their signing in.")
    place = membership.site or membership.area
    note(
        "role.revoke",
        by=by,
        subject=person,
        site_id=membership.site_id,
        role=membership.get_role_display(),
        place=str(place),
    )
    membership.delete()


def _as_shown(person: Person, stops: int | None, *, active: bool) -> None:
    """Holds the person, so that of two at once the second is told."""
    now = Person.objects.select_for_update().get(pk=person.pk)
    if now.is_active != active:
        raise ValidationError(
            f"{person} {'may sign in' if now.is_active else 'is stopped'} already. Nothing was changed."
        )
    if stops not in (None, now.revocations):
        told = "stopped them and let them sign in again" if active else "stopped them anew"
        raise ValidationError(f"Somebody has {told} meanwhile. Nothing was changed. Look at {person} again.")


def _amend(
    by, row: DatedModel, changes: dict, allowed: tuple[str, ...], reason: str, corrects: bool
) -> tuple[dict, str]:
    """Sets the fields and writes the fact of it; gives what changed and the reason. Raises ValidationError for a correction
    without a reason, or of nothing, and for a reason that says nothing."""
    told = _apply(row, changes, allowed)
    reason = refuse_correction(told, reason) if corrects else as_reason(reason)
    if not row.is_recorded():
        row.record_settings(by=by, reason=reason, corrects=corrects)
    return told, reason


def _marked(corrects: bool) -> dict:
    return {"corrects": True} if corrects else {}


def _apply(record: models.Model, changes: dict, allowed: tuple[str, ...]) -> dict:
    """Set the fields and save; gives what changed as text, old and new."""
    unknown = set(changes) - set(allowed)
    if unknown:
        raise TypeError(f"{type(record).__name__} has no {', '.join(sorted(unknown))} to amend.")
    told = {n: [str(getattr(record, n)), str(v)] for n, v in changes.items() if getattr(record, n) != v}
    for name, value in changes.items():
        setattr(record, name, value)
    save_checked(record)
    return told


def _hold(person: Person) -> None:
    """Read a person afresh and hold them, so that a page opened earlier brings no former name back."""
    person.refresh_from_db(from_queryset=Person.objects.select_for_update())


def _set_password(person: Person, password: str) -> None:
    person.set_password(password)
    person.save(update_fields=["password"])
    forget_tries(person.email)


def _refuse_to_lower_a_peer(by: Person | None, area: Area, person: Person) -> None:
    """Or a supervisor could make a colleague a cook, take over the cook, and make them supervisor again."""
    supervises = Membership.objects.filter(area=area, person=person, role=Role.SUPERVISOR).exists()
    if supervises and by and by.pk != person.pk and not is_below(person, by):
        raise ValidationError(LOWERING_A_PEER.format(person, area))


def _supervising(person: Person) -> models.QuerySet[Membership]:
    return Membership.objects.filter(person=person, role=Role.SUPERVISOR, area__isnull=False)


def _lock_areas(areas: models.QuerySet[Area]) -> list[Area]:
    """Two supervisors who remove each other at once must not both succeed: the second waits and sees the first."""
    return list(areas.order_by("pk").select_for_update(of=("self",)))


def _refuse_last_supervisor(area: Area, person: Person) -> None:
    supervisors = Membership.objects.filter(area=area, role=Role.SUPERVISOR, person__is_active=True)
    if not supervisors.filter(person=person).exists():
        return
    if not supervisors.exclude(person=person).exists():
        raise ValidationError(f"{person} is the last supervisor of {area}. Make somebody else its supervisor first.")
