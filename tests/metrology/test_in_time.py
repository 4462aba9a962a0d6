"""What is left of an outcome where a temperature must be reached within a time."""

import pytest

from compliance.metrology.assessment import in_time
from compliance.metrology.vocabulary import Outcome


class TestInTime:
    """Cooling and reheating: a temperature to be reached within a time."""

    @pytest.mark.parametrize(
        "outcome, since, left",
        [
            (Outcome.HELD, 7_199, Outcome.HELD),
            (Outcome.HELD, 7_200, Outcome.HELD),
            (Outcome.HELD, 7_201, Outcome.UNDECIDED),
            (Outcome.BROKEN, 7_199, Outcome.UNDECIDED),
            (Outcome.BROKEN, 7_200, Outcome.BROKEN),
            (Outcome.BROKEN, 7_201, Outcome.BROKEN),
            (Outcome.UNDECIDED, 7_200, Outcome.UNDECIDED),
            (Outcome.BROKEN, None, Outcome.UNDECIDED),
            (Outcome.HELD, None, Outcome.UNDECIDED),
        ],
    )
    def test_within_two_hours(self, outcome, since, left):
        assert in_time(outcome, since, 7_200) is left

    @pytest.mark.parametrize("outcome", list(Outcome))
    def test_where_no_time_is_set_nothing_changes(self, outcome):
        assert in_time(outcome, 9_999, None) is outcome

    def test_a_negative_time_is_refused(self):
        with pytest.raises(ValueError, match="0 s or more"):
            in_time(Outcome.HELD, -1, 7_200)
