"""Who is told what, and how: no framework, no database. What a role requires nobody can refuse; a page shows it even where no
mail is wanted."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

MANAGER, SUPERVISOR = 30, 40  # as in sites.models.Role


class Kind(StrEnum):
    DUE = "due"
    OVERDUE = "overdue"
    UNANSWERED = "unanswered"
    READING = "reading"
    NO_READING = "no_reading"
    FAILED = "failed"
    GONE = "gone"
    DIGEST = "digest"
    PASSWORD = "password"  # to its owner alone, whatever their roles and choices


AT_ONCE = (Kind.FAILED, Kind.GONE)  # food was judged by that probe
LABELS = {
    Kind.DUE: "what is to be checked today",
    Kind.OVERDUE: "a check that is overdue past its grace",
    Kind.UNANSWERED: "an overdue check that still nobody has made",
    Kind.READING: "a reading of a round that is overdue past its grace",
    Kind.NO_READING: "an overdue reading that still nobody has taken",
    Kind.FAILED: "a probe that failed its check",
    Kind.GONE: "a probe that is gone: dead, lost or thrown away",
    Kind.DIGEST: "the week in your area",
    Kind.PASSWORD: "your password was set by a link",
}


@dataclass(frozen=True, slots=True)
class Wish:
    """How somebody wants to be told of one kind of thing."""

    mail: bool
    page: bool

    def __or__(self, other: "Wish") -> "Wish":
        return Wish(self.mail or other.mail, self.page or other.page)


@dataclass(frozen=True, slots=True)
class NoticeRule:
    """What a role is told of a kind unless its holder chooses otherwise, and what of that cannot be refused."""

    usual: Wish
    required: Wish


BOTH, MAIL, PAGE, FREE = Wish(True, True), Wish(True, False), Wish(False, True), Wish(False, False)
RULES: Mapping[tuple[int, Kind], NoticeRule] = {
    (MANAGER, Kind.DUE): NoticeRule(BOTH, FREE),
    (MANAGER, Kind.OVERDUE): NoticeRule(BOTH, PAGE),
    (MANAGER, Kind.READING): NoticeRule(BOTH, PAGE),
    (MANAGER, Kind.FAILED): NoticeRule(BOTH, BOTH),
    (MANAGER, Kind.GONE): NoticeRule(BOTH, BOTH),
    (SUPERVISOR, Kind.UNANSWERED): NoticeRule(BOTH, PAGE),
    (SUPERVISOR, Kind.NO_READING): NoticeRule(BOTH, PAGE),
    (SUPERVISOR, Kind.FAILED): NoticeRule(BOTH, BOTH),
    (SUPERVISOR, Kind.GONE): NoticeRule(BOTH, BOTH),
    (SUPERVISOR, Kind.DIGEST): NoticeRule(BOTH, FREE),
}
OF_MANAGERS = {kind for role, kind in RULES if role == MANAGER} - {kind for role, kind in RULES if role == SUPERVISOR}


@dataclass(frozen=True, slots=True)
class Recipient:
    """One person and how they are told."""

    person: int
    wish: Wish


def rule_for(kind: Kind, roles: Iterable[int]) -> NoticeRule | None:
    """The rule of somebody who holds these roles, each adding to it; None where none of them is told of this kind."""
    rules = [RULES[role, kind] for role in roles if (role, kind) in RULES]
    if not rules:
        return None
    usual, required = rules[0].usual, rules[0].required
    for rule in rules[1:]:
        usual, required = usual | rule.usual, required | rule.required
    return NoticeRule(usual, required)


def granted(rule: NoticeRule, chosen: Wish | None) -> Wish:
    """What somebody chose, together with what their roles require."""
    return (chosen or rule.usual) | rule.required


def recipients(
    kind: Kind, roles: Mapping[int, Iterable[int]], chosen: Mapping[tuple[int, Kind], Wish]
) -> list[Recipient]:
    """Who of the people at a place is told, by the roles that each holds there.

    Where there is no site manager, the supervisors are told in their stead, with what a manager may refuse.
    """
    held = {person: set(theirs) for person, theirs in roles.items()}
    no_manager = kind in OF_MANAGERS and not any(MANAGER in theirs for theirs in held.values())
    found = []
    for person, theirs in sorted(held.items()):
        rule = rule_for(kind, theirs | {MANAGER} if no_manager and SUPERVISOR in theirs else theirs)
        wish = granted(rule, chosen.get((person, kind))) if rule else FREE
        if wish.mail or wish.page:
            found.append(Recipient(person, wish))
    return found
