"""What a site offers as buttons where a limit is not met: corrective actions, causes, and what becomes of the food."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from django.core.exceptions import ValidationError

from compliance.limits.models import Direction, LimitVersion
from shared.reasons import holds_word
from sites.models import Site

from .models import Disposition, OfferedActs

MOST, LONGEST = 8, 120  # lines of a list, characters of a line


@dataclass(frozen=True, kw_only=True)
class ActsData:
    """The lists of a site, each in the order in which it is shown."""

    warm_actions: Sequence[str]
    warm_causes: Sequence[str]
    cool_actions: Sequence[str]
    cool_causes: Sequence[str]
    dispositions: Sequence[str]

    def checked(self) -> dict[str, list[str]]:
        """As they are stored. Raises ValidationError for a line without a word, too many lines, and no disposition."""
        lists = {
            name: list(dict.fromkeys(line.strip() for line in lines if line.strip()))
            for name, lines in asdict(self).items()
        }
        wrong = {name: told for name, lines in lists.items() if (told := _wrong(name, lines))}
        if wrong:
            raise ValidationError(wrong)
        return lists


def _wrong(name: str, lines: list[str]) -> str:
    if not lines:
        return "Give at least one."
    if name == "dispositions":
        return "" if set(lines) <= set(Disposition.values) else "Choose from the list."
    if len(lines) > MOST:
        return f"Give at most {MOST}: more are not found with wet hands."
    bad = next((line for line in lines if len(line) > LONGEST or not holds_word(line)), "")
    return f"“{bad[:40]}”: give words, at most {LONGEST} characters a line." if bad else ""


# Common practice; a site replaces them by those of its own plan.
USUAL = ActsData(
    warm_actions=(
        "Moved the food to a unit that holds",
        "Closed the door and measured again",
        "Turned the thermostat down and called the engineer",
        "Sent the delivery back",
        "Threw the food away",
    ),
    warm_causes=("Door left open", "Just filled or delivered", "The unit does not cool as it should", "Not known yet"),
    cool_actions=(
        "Cooked or heated on until the limit was met",
        "Reheated before serving",
        "Turned the unit up and measured again",
        "Threw the food away",
    ),
    cool_causes=("Taken out too early", "Switched on too late", "Stood too long", "Not known yet"),
    dispositions=tuple(Disposition.values),
)


@dataclass(frozen=True, slots=True)
class Offered:
    """What is offered about one limit."""

    actions: Sequence[str]
    causes: Sequence[str]
    dispositions: Sequence[Disposition]


def acts_of(site: Site) -> OfferedActs | ActsData:
    """The lists that count at a site: its own, or the usual ones. One query."""
    return OfferedActs.objects.filter(site=site).order_by("-pk").first() or USUAL


def offered(acts: OfferedActs | ActsData, version: LimitVersion) -> Offered:
    """Of a limit that asks for cold what is done about food that was too warm, and the other way round."""
    kind = "warm" if version.direction == Direction.AT_MOST else "cool"
    told = getattr(acts, f"{kind}_actions"), getattr(acts, f"{kind}_causes")
    return Offered(*told, [Disposition(value) for value in acts.dispositions])
