"""Where a rising function is zero. `scipy.optimize` finds that too, but loading it takes longer than a start may wait for it."""

from collections.abc import Callable


def root(rising: Callable[[float], float], low: float, high: float, within: float) -> float:
    """Where a continuous function is zero that rises from zero or less at `low` to zero or more at `high`.

    `within` above zero, in the unit of the argument, as what is given.

    Raises:
        ValueError: where it is of the same sign at both ends.

    Source: Dowell and Jarratt, A modified regula falsi method, BIT 11 (1971) 168-174 (the Illinois method).
    """
    below, above = rising(low), rising(high)
    if not below <= 0 <= above or below == above:
        raise ValueError("Give two ends between which the function rises through zero.")
    moved = 0  # which end moved last
    while high - low > within:
        middle = high - above * (high - low) / (above - below)
        value = rising(middle)
        if value == 0:
            return middle
        if value > 0:
            high, above, below = middle, value, below / 2 if moved > 0 else below
        else:
            low, below, above = middle, value, above / 2 if moved < 0 else above
        moved = 1 if value > 0 else -1
    return (low + high) / 2
