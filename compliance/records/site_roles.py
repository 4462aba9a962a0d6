"""Who held which role at a site in a period, and since when and until when as far as the trail says."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from shared.audit.models import Entry
from sites.models import Membership, Role

from .scope import RecordScope

GRANT, REVOKE = "role.grant", "role.revoke"
LABELS = {role.label: role for role in Role}


@dataclass(slots=True)
class Held:
    """A role that somebody held; `since` None: before the trail begins, or it does not say; `until` None: still at printing."""

    person: int
    role: Role
    since: datetime | None
    until: datetime | None = None


def roles_held(scope: RecordScope) -> list[Held]:
    """Roles of cooks and above, the highest first; of an area those that reach the site. Two queries."""
    kept = Membership.objects.filter(Q(site=scope.site.pk) | Q(area=scope.area.pk)).values_list(
        "person_id", "area_id", "role"
    )
    now = {(person, area is not None): Role(role) for person, area, role in kept}
    turns = Entry.objects.filter(
        Q(site_id=scope.site.pk) | Q(site_id=None, business_id=scope.business.pk, data__place=scope.area.name),
        action__in=(GRANT, REVOKE),
        subject_type="sites.person",
        at__lte=scope.now,
    )
    told = list(_told(turns.order_by("at", "pk"), now))
    found = [each for each in told if each.role > Role.READER and _meets(each, scope)]
    return sorted(found, key=lambda each: (-each.role, each.person, each.since or scope.start))


def _meets(each: Held, scope: RecordScope) -> bool:
    return (each.since is None or each.since < scope.reached) and (each.until is None or each.until > scope.start)


def _told(turns: Iterable[Entry], now: dict[tuple[int, bool], Role]) -> Iterator[Held]:
    held: dict[tuple[int, bool], Held] = {}
    for turn in turns:
        key = turn.subject_id, turn.site_id is None
        role = LABELS.get(turn.data.get("role", ""))
        before = held.get(key)
        if turn.action == GRANT and before and before.role == role:
            continue
        if before:
            held.pop(key).until = turn.at
            yield before
        if turn.action == GRANT and role:
            held[key] = Held(turn.subject_id, role, turn.at)
    for key, role in now.items():
        known = held.get(key)
        yield known if known and known.role == role else Held(key[0], role, None)
