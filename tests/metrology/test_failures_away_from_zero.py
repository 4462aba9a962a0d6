"""What a check away from zero is worth beside checks at zero, story by story."""

from datetime import UTC, datetime, timedelta

import pytest

from compliance.metrology.bracketing import Cause, CheckFinding, Mark, MarkKind, TimelineSpan, cut, speaks_for, weigh
from compliance.metrology.failures_away_from_zero import doubts
from compliance.metrology.vocabulary import CheckKind, Stage, Standing, Verdict

EIGHT = datetime(2031, 5, 1, 8, tzinfo=UTC)
WEEK = timedelta(days=7)
KINDS = {
    "zero": (CheckKind.ZERO, 0.0),
    "boil": (CheckKind.BOILING, 98.3),
    "paper0": (CheckKind.CERTIFICATE, 0.0),
    "paper60": (CheckKind.CERTIFICATE, 60.0),
}
VERDICTS = {"+": Verdict.IN_TOLERANCE, "-": Verdict.OUT_OF_TOLERANCE, "?": Verdict.INCONCLUSIVE}


def story(text: str, apart: timedelta = WEEK) -> tuple[TimelineSpan, ...]:
    """Words such as zero+ or boil-left- a week apart, joined by & where simultaneous; `altered` is an alteration."""
    marks: list[Mark] = []
    for number, words in enumerate(text.split()):
        at = EIGHT + number * apart
        for word in words.split("&"):
            key = f"{word}@{number}"
            if word == "altered":
                marks.append(Mark(at=at, kind=MarkKind.ALTERATION, key=key, order=number))
                continue
            kind, reference = KINDS[word[:-1].removesuffix("-left")]
            stage = Stage.AS_LEFT if "-left" in word else Stage.AS_FOUND
            marks += weigh(
                [
                    CheckFinding(
                        at=at,
                        kind=kind,
                        reference=reference,
                        stage=stage,
                        verdict=VERDICTS[word[-1]],
                        key=key,
                        order=number,
                    )
                ]
            )
    return cut(marks)


def standings(text: str, apart: timedelta = WEEK) -> str:
    letters = {Standing.PROVEN: "p", Standing.PENDING: "n", Standing.QUARANTINED: "q", Standing.UNPROVEN: "u"}
    return "".join(letters[span.standing] for span in story(text, apart))


class TestWorth:
    def test_a_good_boiling_check_alone_vouches_for_nothing(self):
        assert standings("boil+") == standings("boil+ boil+") == "u"
        assert standings("boil-left+") == "qq", "it tells of an adjustment that nobody checked at zero"

    def test_a_good_boiling_check_beside_good_zero_checks_changes_nothing(self):
        assert standings("zero+ boil+ zero+") == "upn"

    def test_a_failed_boiling_check_condemns_on_both_sides(self):
        assert standings("zero+ boil-") == "qqq"

    def test_it_reaches_back_past_good_zero_checks_which_cannot_see_what_it_saw(self):
        assert standings("boil+ zero+ zero+ boil-") == "uqqqq"
        assert standings("zero+ boil+ zero+ zero+ boil-") == "upqqqq"

    def test_without_an_earlier_check_away_from_zero_it_reaches_back_to_the_beginning(self):
        assert standings("zero+ zero+ boil-") == "qqqq"

    def test_a_good_zero_check_does_not_vouch_while_a_failed_boiling_check_is_outstanding(self):
        assert standings("boil- zero+ zero+") == "qqqq"

    def test_a_good_boiling_check_cures_a_failed_one_and_zero_checks_vouch_again(self):
        assert standings("boil- zero+ boil+ zero+") == "qqqpn"
        assert standings("boil- boil+ zero+") == "qqun"

    def test_it_does_not_matter_whether_zero_or_boiling_is_checked_first_after_a_failure(self):
        assert story("boil- zero+ boil+")[-1].standing is story("boil- boil+ zero+")[-1].standing is Standing.PENDING

    def test_a_good_boiling_check_never_cures_a_failed_zero_check(self):
        assert standings("zero+ zero- boil+") == "uqq"
        assert standings("zero- boil- boil+ zero+")[-2:] == "qn"

    def test_an_adjustment_cures_nothing(self):
        assert standings("boil- altered&zero-left+ zero+") == "qqqq"

    def test_a_certificate_away_from_zero_cures_a_failed_boiling_check_and_one_at_zero_does_not(self):
        assert standings("zero+ boil- paper60+ zero+")[-2:] == "pn"
        assert set(standings("zero+ boil- paper0+ zero+")) == {"q"}

    def test_a_certificate_at_zero_vouches_and_one_away_from_it_does_not(self):
        assert standings("paper0+ paper0+") == "upn"
        assert standings("paper60+ paper60+") == "u"

    def test_a_failed_certificate_away_from_zero_is_cured_by_a_good_boiling_check(self):
        assert standings("zero+ paper60- boil+ zero+") == "qqqpn"

    def test_an_inconclusive_boiling_check_changes_nothing(self):
        assert story("zero+ boil? zero+")[0:1] == story("zero+")[0:1] and standings("zero+ boil? zero+") == "upn"
        assert set(standings("boil- boil? zero+")) == {"q"}

    def test_of_checks_of_one_minute_the_failed_one_counts(self):
        assert set(standings("boil+&boil- zero+")) == {"q"}
        assert set(standings("zero+&boil- zero+")) == {"q"}

    def test_adjusted_at_once_and_boiled_again_the_future_is_free(self):
        assert standings("zero+ zero+&boil-&altered&zero-left+&boil-left+ zero+") == "qqpn"

    def test_a_reading_at_the_time_of_the_cure_is_inside_the_doubt(self):
        spans = story("boil- zero+ boil+")
        assert spans[-2].end == EIGHT + 2 * WEEK and spans[-2].standing is Standing.QUARANTINED


class TestReasons:
    def test_the_failed_check_is_named_before_and_after_it(self):
        spans = story("zero+ zero+ boil- zero+ boil+")
        assert {span.doubt for span in spans[:-1]} == {"boil-@2"} and spans[-1].doubt is None
        assert {span.anchor for span in spans[:-1]} == {"boil-@2"} and spans[-1].anchor is None
        before, after = Cause.FAR_FAILED_AHEAD, Cause.USED_AFTER_FAR_FAILURE
        assert [span.cause for span in spans] == [before, before, before, after, after, None]

    def test_the_checks_at_zero_stay_the_ends_of_each_span(self):
        spans = story("zero+ zero+ boil- zero+ boil+")
        assert [(span.behind, span.ahead) for span in spans] == [
            (None, "zero+@0"),
            ("zero+@0", "zero+@1"),
            ("zero+@1", "zero+@3"),
            ("zero+@1", "zero+@3"),
            ("zero+@3", None),
            ("zero+@3", None),
        ]

    def test_what_failed_at_zero_keeps_its_own_case_and_knows_of_the_doubt(self):
        spans = story("zero+ zero- zero+ boil-")
        assert [span.anchor for span in spans] == ["boil-@3", "zero-@1", "zero-@1", "boil-@3", "boil-@3"]
        assert spans[1].cause is Cause.FAILED_AHEAD and spans[1].doubt == "boil-@3"

    def test_two_failures_in_a_row_are_one_case(self):
        assert {span.anchor for span in story("zero+ boil- zero+ paper60-")} == {"boil-@1"}

    def test_a_good_check_between_two_failures_begins_a_new_case(self):
        assert [s.anchor for s in story("boil- boil+ boil-")] == ["boil-@0", "boil-@0", "boil-@2", "boil-@2"]


class TestBounding:
    """Where the failed check cannot tell of the error at the time of a span, nothing is to bound it."""

    def test_altered_between_nothing_stands_behind(self):
        spans = story("zero+ zero+&altered&zero-left+ zero+ boil-")
        assert [span.behind for span in spans] == [None, None, "zero-left+@1", "zero+@2", "zero+@2"]

    def test_altered_after_the_failure_nothing_stands_behind(self):
        spans = story("zero+ boil- zero+&altered&zero-left+ zero+")
        assert [span.behind for span in spans[2:]] == ["zero+@0", None, None]

    def test_failed_as_left_what_was_before_the_adjustment_is_another_probe(self):
        spans = story("zero+ zero+ altered&zero-left+&boil-left-")
        assert spans[1].behind is None and spans[1].doubt == "boil-left-@2"
        assert spans[-1].behind == "zero-left+@2"

    def test_between_two_failures_one_of_them_would_not_be_heard(self):
        spans = story("zero+ boil- boil- zero+")
        assert spans[2].behind is None and spans[2].doubt == "boil-@1"


class TestUnrecordedAdjustment:
    DAY = timedelta(days=1)

    def test_a_boiling_check_as_left_tells_of_an_adjustment_that_nobody_recorded(self):
        assert standings("zero+ boil-left+ zero+") == "uqqn"
        span = story("zero+ boil-left+ zero+")[1]
        assert (span.cause, span.anchor) == (Cause.ALTERED_UNCHECKED, "boil-left+@1")

    @pytest.mark.parametrize("first", ["altered", "altered&zero-left+", "zero-left+"])
    def test_within_a_day_it_belongs_to_the_same_work(self, first):
        assert standings(f"{first} boil-left+", self.DAY) == standings(first)

    def test_later_than_a_day_it_does_not(self):
        assert standings("altered&zero-left+ boil-left+", self.DAY + timedelta(minutes=1))[-2:] == "qq"

    def test_a_check_as_found_between_ends_the_work(self):
        assert standings("altered&zero-left+ zero+ boil-left+", self.DAY / 3)[-2:] == "qq"

    def test_a_zero_check_as_left_after_it_vouches(self):
        assert standings("zero+ boil-left+ zero-left+ zero+", self.DAY / 3)[-2:] == "pn"


class TestWhatACheckSpeaksFor:
    @pytest.mark.parametrize(
        "kind, reference, about",
        [
            (CheckKind.ZERO, 0, CheckKind.ZERO),
            (CheckKind.BOILING, 4.0, CheckKind.BOILING),
            (CheckKind.CERTIFICATE, 5.0, CheckKind.ZERO),
            (CheckKind.CERTIFICATE, -5.0, CheckKind.ZERO),
            (CheckKind.CERTIFICATE, 5.001, CheckKind.BOILING),
            (CheckKind.CERTIFICATE, -5.001, CheckKind.BOILING),
        ],
    )
    def test_a_certificate_speaks_for_zero_within_five_degrees_of_it(self, kind, reference, about):
        assert speaks_for(kind, reference) is about

    def test_no_doubt_without_a_failed_check(self):
        assert doubts(weigh([])) == []
