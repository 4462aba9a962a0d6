"""How well an ice bath stands for 0 °C: from how it was prepared to a reference and its uncertainty."""

from dataclasses import dataclass, field, replace
from enum import StrEnum

from .reference import Reference
from .uncertainty import rectangular
from .vocabulary import Medium

ICE_POINT = 0.0  # °C, by the Celsius scale


class BathPoint(StrEnum):
    """The preparation of an ice bath and of the probe, point by point, in the order of the work."""

    CRUSHED = "crushed"
    POTABLE = "potable"
    WETTED = "wetted"
    DRAINED = "drained"
    STEM_CLEANED = "stem_cleaned"
    WELL_FORMED = "well_formed"
    PACKED = "packed"
    IMMERSED = "immersed"
    FELL = "fell"
    WAITED = "waited"


class BathKind(StrEnum):
    """How the ice was brought to its melting point."""

    PACKED_CRUSHED = "packed_crushed"
    STIRRED_CUBES = "stirred_cubes"
    UNSTIRRED = "unstirred"
    UNCONFIRMED = "unconfirmed"


# Without these, what the probe feels need not be melting ice at all.
CRITICAL: dict[BathKind, tuple[BathPoint, ...]] = {
    BathKind.PACKED_CRUSHED: (BathPoint.POTABLE, BathPoint.WETTED, BathPoint.IMMERSED),
    BathKind.STIRRED_CUBES: (BathPoint.POTABLE, BathPoint.IMMERSED),
}
# Each of these alone keeps free water away from the tip. Without one the other may not: such a bath is worth no more than
# stirred cubes; without both, what the probe feels may be water that stands. Judgement: water is densest at 3.98 °C, so
# that below ice it can be that warm.
AGAINST_WATER: dict[BathKind, tuple[BathPoint, ...]] = {
    BathKind.PACKED_CRUSHED: (BathPoint.DRAINED, BathPoint.PACKED),
}
# What still counts in each kind of bath before its best width is granted.
WANTED: dict[BathKind, tuple[BathPoint, ...]] = {
    BathKind.PACKED_CRUSHED: tuple(BathPoint),
    BathKind.STIRRED_CUBES: (BathPoint.POTABLE, BathPoint.IMMERSED, BathPoint.FELL),
}
MISSING: dict[BathPoint, str] = {
    BathPoint.CRUSHED: "The ice was not crushed fine, so air and water lie between the pieces.",
    BathPoint.POTABLE: "The ice was not known to be clean and free of salt, which lowers its melting point.",
    BathPoint.WETTED: "The ice was not wetted, and dry ice can be colder than 0 °C.",
    BathPoint.DRAINED: "The water was not drained, and water at the bottom can be some degrees warmer than the ice.",
    BathPoint.STEM_CLEANED: "The stem was not cleaned, and what clings to it can lower the melting point.",
    BathPoint.WELL_FORMED: "No well was formed before the probe went in.",
    BathPoint.PACKED: "The ice was not packed against the stem, so water or air can lie between.",
    BathPoint.IMMERSED: "The probe was not in deep enough, so warmth came down its stem.",
    BathPoint.FELL: "Nobody saw the display fall: it may be held, or show one number whatever the probe feels.",
    BathPoint.WAITED: "The probe was not left to settle.",
}
# The same where nobody said that it was left out.
UNCONFIRMED: dict[BathPoint, str] = {
    BathPoint.CRUSHED: "Not confirmed: that the ice was crushed fine, without air and water between the pieces.",
    BathPoint.POTABLE: "Not confirmed: that the ice was clean and free of salt, which lowers its melting point.",
    BathPoint.WETTED: "Not confirmed: that the ice was wetted; dry ice can be colder than 0 °C.",
    BathPoint.DRAINED: "Not confirmed: that the water was drained; water at the bottom can be some degrees warmer than the ice.",
    BathPoint.STEM_CLEANED: "Not confirmed: that the stem was clean; what clings to it can lower the melting point.",
    BathPoint.WELL_FORMED: "Not confirmed: that a well was formed before the probe went in.",
    BathPoint.PACKED: "Not confirmed: that the ice was packed against the stem, without water or air between.",
    BathPoint.IMMERSED: "Not confirmed: that the probe was in deep enough to keep out warmth from its stem.",
    BathPoint.FELL: "Not confirmed: that somebody saw the display fall; a held one shows the same number all along.",
    BathPoint.WAITED: "Not confirmed: that the probe was left to settle.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Preparation:
    """What kind of bath was made, which points of its preparation were met, and which were `left` out, as somebody said.

    Of the others nobody said anything: they count as not met, and are told as not confirmed.
    """

    kind: BathKind
    points: frozenset[BathPoint]
    left: frozenset[BathPoint] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class BathWidths:
    """Half-widths in °C within which a bath stands for 0 °C.

    Source: `complete` ±0.01 °C is common practice, no source (ASTM E563, from memory: 0.002 °C at best); `incomplete`
    and `stirred` are judgement. `stirred` counts for a packed bath, too, that was not drained or not packed to the stem.
    """

    complete: float = 0.01
    incomplete: float = 0.05
    stirred: float = 0.2

    def __post_init__(self) -> None:
        if not 0 < self.complete <= self.incomplete <= self.stirred:
            raise ValueError("Give half-widths above 0 °C that grow from a complete bath to a stirred one.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bath(Reference):
    """An ice bath as a reference, with the points of its preparation that are missing."""

    missing: tuple[BathPoint, ...] = field(default=())


def judge_bath(preparation: Preparation, widths: BathWidths | None = None) -> Bath:
    """The reference that a bath prepared in this way gives, in °C.

    Args:
        preparation: the kind of bath and the points that were met (no unit).
        widths: half-widths in °C in place of the usual ones.

    Returns:
        0 °C with its half-width in °C, whether the bath can serve at all, and the points that are missing, in words.

    Source: common practice for the points; half-widths as `BathWidths` says.
    """
    widths = widths or BathWidths()
    kind = preparation.kind
    if kind not in WANTED:
        return _bath(kind, widths.stirred, usable=False, why=(NO_ICE_POINT, UNUSABLE[kind]))
    missing = tuple(point for point in WANTED[kind] if point not in preparation.points)
    stands, held = not lacks(kind, frozenset(missing)), BathPoint.FELL in missing
    half_width = _half_width(kind, missing, widths)
    opening = MAY_BE_HELD if held else f"The bath stands for 0 °C within {half_width:g} °C."
    why = (opening if stands else NO_ICE_POINT, *_told(preparation, missing))
    found = _bath(kind, half_width, usable=stands and not held, why=why, missing=missing)
    return replace(found, again=HELD_AGAIN) if stands and held else found


def _told(preparation: Preparation, missing: tuple[BathPoint, ...]) -> tuple[str, ...]:
    return tuple((MISSING if point in preparation.left else UNCONFIRMED)[point] for point in missing)


def lacks(kind: BathKind, missing: frozenset[BathPoint]) -> tuple[BathPoint, ...]:
    """Of the points that are missing, those without which a bath of this kind is none (no unit)."""
    water = AGAINST_WATER.get(kind, ())
    needed = (*CRITICAL.get(kind, ()), *(water if missing.issuperset(water) else ()))
    return tuple(point for point in needed if point in missing)


def _half_width(kind: BathKind, missing: tuple[BathPoint, ...], widths: BathWidths) -> float:
    if kind is BathKind.STIRRED_CUBES or set(missing) & set(AGAINST_WATER[kind]):
        return widths.stirred
    return widths.incomplete if set(missing) - {BathPoint.FELL} else widths.complete


def _bath(
    kind: BathKind, half_width: float, *, usable: bool, why: tuple[str, ...], missing: tuple[BathPoint, ...] = ()
) -> Bath:
    part = rectangular("bath", half_width, f"the bath stands for 0 °C within ±{half_width:g} °C")
    medium = Medium.PACKED_ICE if kind is BathKind.PACKED_CRUSHED else Medium.ICE_WATER
    return Bath(
        temperature=ICE_POINT,
        within=half_width,
        components=(part,),
        medium=medium,
        usable=usable,
        why=why,
        again=BATH_AGAIN,
        missing=missing,
    )


BATH_AGAIN = "Make the bath again with crushed, wetted, drained ice, and pack the probe in deep. Then check again."
HELD_AGAIN = (
    "Release a held display, let the probe warm up in the air, put it back in and type what it shows at once. If it does not "
    "move, do not use the probe."
)
MAY_BE_HELD = "Nobody saw the display move."
NO_ICE_POINT = "The bath does not stand for 0 °C."
UNUSABLE = {
    BathKind.UNSTIRRED: "Ice floating in water that nobody stirs can be up to 4 °C warm below the ice.",
    BathKind.UNCONFIRMED: "Nobody confirmed how the bath was made.",
}
