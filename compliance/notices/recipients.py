"""Who is told what, and how: no framework, no database. What a role requires nobody can refuse; a page shows it even where no
mail is wanted."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import reduce
from operator import or_

MANAGER, SUPERVISOR = 30, 40  # as in sites.models.Role


class Kind(StrEnum):
    """What people are told of, each with its `label`, and with what the page of one's choices says of it."""

    label: str
    explained: str

    def __new__(cls, value: str, label: str, explained: str = ""):
        kind = str.__new__(cls, value)
        kind._value_, kind.label, kind.explained = value, label, explained
        return kind

    DUE = "due", "what is to be checked today", "Once in the morning, with all the checks of the day."
    OVERDUE = "overdue", "a check that is overdue past its grace", "When the grace of its plan is over."
    UNANSWERED = (
        "unanswered",
        "an overdue check that still nobody has made",
        "When the site manager was told of it and as long again has gone by, two hours at least.",
    )
    READING = "reading", "a reading of a round that is overdue past its grace", "When the grace of the round is over."
    NO_READING = (
        "no_reading",
        "an overdue reading that still nobody has taken",
        "As of a check, but while the reading can still be taken.",
    )
    FAILED = (
        "failed",
        "a probe that failed its check",
        "At once, in quiet hours too: food is being judged by that probe.",
    )
    GONE = (
        "gone",
        "a probe that is gone: dead, lost or thrown away",
        "At once, in quiet hours too: food was judged by that probe.",
    )
    DIGEST = (
        "digest",
        "the week in your area",
        "On Monday morning: what failed, what was missed, what waits, which probes drift.",
    )
    PASSWORD = "password", "your password was set by a link"  # to its owner alone, whatever their roles and choices


AT_ONCE = (Kind.FAILED, Kind.GONE)  # food was judged by that probe


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

    def __or__(self, other: "NoticeRule") -> "NoticeRule":
        return NoticeRule(self.usual | other.usual, self.required | other.required)


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
    return reduce(or_, rules) if rules else None


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
