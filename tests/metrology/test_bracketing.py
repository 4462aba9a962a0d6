"""Spans against a naive oracle and by their invariants, for any order of arrival."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from compliance.metrology.bracketing import Cause, CheckFinding, Mark, MarkKind, TimelineSpan, cut, mark_kind, weigh
from compliance.metrology.vocabulary import CheckKind, Stage, Standing, Verdict

from .timeline_oracle import Diary, Entry, WholeDiary

EIGHT = datetime(2031, 5, 1, 8, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
VOUCHES = (MarkKind.GOOD_AS_FOUND, MarkKind.GOOD_AS_LEFT)


def marks_of(entries: Sequence[Entry]) -> list[Mark]:
    """What the keeper of the records does: void checks are left out, alterations are marks, checks are weighed."""
    live = [entry for entry in entries if not entry.void]
    altered = [
        Mark(at=e.at, kind=MarkKind.ALTERATION, key=e.key, order=e.order) for e in live if e.stage == "alteration"
    ]
    return [*altered, *weigh(finding(entry) for entry in live if entry.stage != "alteration")]


def finding(entry: Entry) -> CheckFinding:
    return CheckFinding(
        at=entry.at,
        kind=CheckKind(entry.kind),
        reference=entry.reference,
        stage=Stage(entry.stage),
        verdict=Verdict(entry.verdict),
        key=entry.key,
        order=entry.order,
    )


def instants(entries: Sequence[Entry]) -> list[datetime]:
    """Every moment something happened, just before, just after, and between."""
    moments = {EIGHT} | {entry.at for entry in entries}
    return sorted(moment + shift for moment in moments for shift in (-MINUTE / 2, timedelta(0), MINUTE / 2))


def span_at(spans: Sequence[TimelineSpan], now: datetime) -> TimelineSpan:
    inside = [s for s in spans if (s.start is None or s.start < now) and (s.end is None or now <= s.end)]
    assert len(inside) == 1, "every moment lies in exactly one span"
    return inside[0]


# Strategies that are made once: to make one for each draw takes longer than to draw from it.
LINES = st.tuples(
    st.sampled_from(["as_found", "as_found", "as_left", "alteration"]),
    st.sampled_from([str(verdict) for verdict in Verdict]),
    st.integers(0, 5),
    st.sampled_from([False, False, False, True]),
)


def entry(order: int, line: tuple, step: timedelta, **against) -> Entry:
    stage, verdict, number, void = line
    verdict = "" if stage == "alteration" else verdict
    at, key = EIGHT + number * step, f"record:{order}"
    return Entry(at=at, stage=stage, verdict=verdict, key=key, order=order, void=void, **against)


# Up to nine records over six minutes, so that many are simultaneous; recorded in any order (backdated too).
DIARIES = st.lists(LINES, max_size=9).map(
    lambda drawn: [entry(order, line, MINUTE) for order, line in enumerate(drawn)]
)

TEN_HOURS = timedelta(hours=10)
AGAINST = [
    ("zero", 0.0),
    ("boiling", 98.3),
    ("boiling", 98.3),
    ("certificate", 0.0),
    ("certificate", -5.0),
    ("certificate", 5.001),
    ("certificate", -18.0),
]

# Checks at zero, at boiling and certificates over two and a half days, so that some as left belong together.
WHOLE_DIARIES = st.lists(st.tuples(LINES, st.sampled_from(AGAINST)), max_size=9).map(
    lambda drawn: [
        entry(order, line, TEN_HOURS, kind=kind, reference=reference)
        for order, (line, (kind, reference)) in enumerate(drawn)
    ]
)


def told_of(span: TimelineSpan) -> tuple:
    return span.standing, span.cause, span.behind, span.ahead, span.anchor, span.doubt


class TestAgainstTheOracle:
    @settings(max_examples=60, deadline=None)
    @given(WHOLE_DIARIES)
    def test_every_instant_has_the_standing_that_both_diaries_tell(self, entries):
        spans, diary = cut(marks_of(entries)), WholeDiary(entries)
        for now in instants(entries):
            doubt = diary.doubt(now)
            assert told_of(span_at(spans, now)) == (
                diary.standing(now),
                diary.cause(now),
                diary.behind(now),
                diary.ahead(now),
                diary.anchor(now),
                doubt.key if doubt else None,
            ), now

    @settings(max_examples=50, deadline=None)
    @given(DIARIES)
    def test_every_instant_has_the_standing_that_the_diary_tells(self, entries):
        spans, diary = cut(marks_of(entries)), Diary(entries)
        for now in instants(entries):
            span = span_at(spans, now)
            told = span.standing, span.cause, span.behind, span.ahead, span.anchor
            assert told == (
                diary.standing(now),
                diary.cause(now),
                diary.behind(now),
                diary.ahead(now),
                diary.anchor(now),
            ), now


class TestInvariants:
    @given(WHOLE_DIARIES)
    def test_with_checks_away_from_zero_spans_cover_all_time_as_well(self, entries):
        spans = cut(marks_of(entries))
        assert (spans[0].start, spans[-1].end) == (None, None)
        assert [span.end for span in spans[:-1]] == [span.start for span in spans[1:]]
        ends = [span.end for span in spans[:-1]]
        assert ends == sorted(set(ends)) and set(ends) <= {mark.at for mark in marks_of(entries)}

    @given(WHOLE_DIARIES, st.randoms())
    def test_with_checks_away_from_zero_the_order_of_arrival_does_not_matter(self, entries, random):
        marks = marks_of(entries)
        assert cut(random.sample(marks, len(marks))) == cut(marks)

    @given(WHOLE_DIARIES, st.integers(0, 5), st.sampled_from(list(Stage)), st.sampled_from(AGAINST[1:3]))
    def test_a_failed_check_away_from_zero_betters_nothing(self, entries, step, stage, against):
        """Whatever is added that failed, nothing that was not proven becomes so."""
        extra = Entry(EIGHT + step * TEN_HOURS, stage, "out_of_tolerance", "extra", 99, False, *against)
        before, after = cut(marks_of(entries)), cut(marks_of([*entries, extra]))
        for now in instants([*entries, extra]):
            was, now_is = span_at(before, now).standing, span_at(after, now).standing
            assert now_is in (was, Standing.QUARANTINED)

    @given(WHOLE_DIARIES, st.integers(0, 5), st.sampled_from([("zero", 0.0), ("certificate", 3.0)]))
    def test_a_good_check_at_zero_ends_no_doubt_away_from_it(self, entries, step, against):
        extra = Entry(EIGHT + step * TEN_HOURS, "as_found", "in_tolerance", "extra", 99, False, *against)
        before, after = cut(marks_of(entries)), cut(marks_of([*entries, extra]))
        for now in instants([*entries, extra]):
            if span_at(before, now).doubt:
                assert span_at(after, now).standing is Standing.QUARANTINED

    @given(WHOLE_DIARIES, st.integers(0, 5), st.sampled_from([("boiling", 98.3), ("certificate", 60.0)]))
    def test_a_good_check_away_from_zero_vouches_for_nothing_that_zero_does_not(self, entries, step, against):
        extra = Entry(EIGHT + step * TEN_HOURS, "as_found", "in_tolerance", "extra", 99, False, *against)
        near = [entry for entry in entries if not entry.far]
        after, at_zero = cut(marks_of([*near, extra])), cut(marks_of(near))
        assert after == at_zero
        for now in instants([*entries, extra]):
            if span_at(cut(marks_of([*entries, extra])), now).standing is Standing.PROVEN:
                assert span_at(at_zero, now).standing is Standing.PROVEN

    @given(DIARIES)
    def test_spans_cover_all_time_without_gap_overlap_or_empty_span(self, entries):
        spans = cut(marks_of(entries))
        assert (spans[0].start, spans[-1].end) == (None, None)
        assert [span.end for span in spans[:-1]] == [span.start for span in spans[1:]]
        cuts = [span.end for span in spans[:-1]]
        assert cuts == sorted({mark.at for mark in marks_of(entries)})

    @given(DIARIES, st.randoms())
    def test_the_order_of_arrival_does_not_matter(self, entries, random):
        marks = marks_of(entries)
        shuffled = random.sample(marks, len(marks))
        assert cut(shuffled) == cut(marks)

    @given(DIARIES, st.integers(0, 5), st.sampled_from(list(Stage)), st.booleans())
    def test_an_inconclusive_or_void_check_changes_nothing(self, entries, minute, stage, void):
        verdict = Verdict.OUT_OF_TOLERANCE if void else Verdict.INCONCLUSIVE
        extra = Entry(EIGHT + minute * MINUTE, stage, verdict, "record:extra", 99, void)
        assert cut(marks_of([*entries, extra])) == cut(marks_of(entries))

    @given(DIARIES)
    def test_an_anchor_holds_until_something_vouches_forwards(self, entries):
        marks = marks_of(entries)
        spans = cut(marks)
        for before, after in zip(spans, spans[1:], strict=False):
            if before.standing is after.standing is Standing.QUARANTINED and before.anchor != after.anchor:
                assert any(mark.at == after.start and mark.kind in VOUCHES for mark in marks)

    @given(DIARIES)
    def test_only_quarantined_spans_have_a_cause_and_an_anchor_that_exists(self, entries):
        keys = {mark.key for mark in marks_of(entries)}
        for span in cut(marks_of(entries)):
            quarantined = span.standing is Standing.QUARANTINED
            assert quarantined is (span.cause is not None) is (span.anchor is not None)
            assert {span.anchor, span.behind, span.ahead} <= keys | {None}


# From here on a diary is a line of text: each word one minute after the last, joined by + where simultaneous.
WORDS = {
    "good": MarkKind.GOOD_AS_FOUND,
    "failed": MarkKind.FAILED_AS_FOUND,
    "altered": MarkKind.ALTERATION,
    "good-left": MarkKind.GOOD_AS_LEFT,
    "failed-left": MarkKind.FAILED_AS_LEFT,
}


def story(text: str) -> list[Mark]:
    minutes = [(minute, word) for minute, words in enumerate(text.split()) for word in words.split("+")]
    return [
        Mark(at=EIGHT + minute * MINUTE, kind=WORDS[word], key=f"{word}@{minute}", order=order)
        for order, (minute, word) in enumerate(minutes)
    ]


def standings(text: str) -> str:
    return " ".join(span.standing for span in cut(story(text)))


class TestIdeaOne:
    """Each sentence of the rule that a reading is only as good as the checks on either side of it."""

    def test_proven_is_a_good_check_at_both_ends(self):
        assert standings("good good") == "unproven proven pending"

    def test_pending_is_a_good_check_behind_and_none_ahead_yet(self):
        assert standings("good") == "unproven pending"

    def test_unproven_is_no_good_check_behind(self):
        assert standings("") == "unproven"
        assert cut([])[0] == TimelineSpan(
            start=None, end=None, standing=Standing.UNPROVEN, behind=None, ahead=None, anchor=None, cause=None
        )

    def test_quarantined_when_the_check_ahead_failed(self):
        _, span, _ = cut(story("good failed"))
        assert (span.standing, span.cause) == (Standing.QUARANTINED, Cause.FAILED_AHEAD)
        assert (span.behind, span.ahead) == ("good@0", "failed@1")

    def test_quarantined_when_used_after_a_failed_check_and_before_the_next_good_one(self):
        assert standings("good failed good") == "unproven quarantined quarantined pending"
        assert cut(story("good failed good"))[2].cause is Cause.USED_AFTER_FAILURE

    def test_quarantined_when_adjusted_without_being_checked_first(self):
        before, after = cut(story("good altered"))[1:]
        assert (before.standing, before.cause, before.ahead) == (Standing.QUARANTINED, Cause.ALTERED_UNCHECKED, None)
        assert (after.standing, after.cause, after.behind) == (Standing.QUARANTINED, Cause.USED_AFTER_ALTERATION, None)

    def test_an_inconclusive_check_neither_vouches_nor_condemns(self):
        assert {mark_kind(Verdict.INCONCLUSIVE, stage) for stage in Stage} == {None}

    @pytest.mark.parametrize(
        "verdict, stage, kind",
        [
            (Verdict.IN_TOLERANCE, Stage.AS_FOUND, MarkKind.GOOD_AS_FOUND),
            (Verdict.OUT_OF_TOLERANCE, Stage.AS_FOUND, MarkKind.FAILED_AS_FOUND),
            (Verdict.IN_TOLERANCE, Stage.AS_LEFT, MarkKind.GOOD_AS_LEFT),
            (Verdict.OUT_OF_TOLERANCE, Stage.AS_LEFT, MarkKind.FAILED_AS_LEFT),
        ],
    )
    def test_a_conclusive_check_leaves_the_mark_of_its_verdict_and_stage(self, verdict, stage, kind):
        assert mark_kind(verdict, stage) is kind

    def test_a_check_as_left_vouches_forwards_only(self):
        assert standings("good good-left good") == "unproven quarantined proven pending"
        assert cut(story("good good-left"))[1].cause is Cause.ALTERED_UNCHECKED
        assert cut(story("good good-left"))[1].ahead is None

    def test_a_check_as_found_speaks_for_the_past(self):
        assert standings("good good+altered+good-left good") == "unproven proven proven pending"
        assert standings("good failed+altered+good-left good") == "unproven quarantined proven pending"

    def test_the_errors_at_one_instant_are_those_of_the_check_that_speaks_for_each_side(self):
        before, after = cut(story("good+altered+good-left"))
        assert (before.ahead, after.behind) == ("good@0", "good-left@0")

    def test_the_graver_standing_wins_where_no_good_check_is_behind_and_the_check_ahead_failed(self):
        assert standings("failed") == "quarantined quarantined"

    def test_an_adjustment_ends_a_span_like_a_check_that_failed_whatever_comes_before_it(self):
        assert standings("altered") == "quarantined quarantined"
        assert standings("good good altered good") == "unproven proven quarantined quarantined pending"

    def test_checked_as_found_and_then_adjusted_the_past_is_proven_and_the_future_is_not(self):
        assert standings("good good+altered good") == "unproven proven quarantined pending"

    def test_a_drop_a_doubt_or_a_new_battery_ends_nothing(self):
        assert {kind for kind in MarkKind if "found" not in kind and "left" not in kind} == {MarkKind.ALTERATION}

    def test_a_failed_check_is_not_overwritten_by_a_second_one_that_passes(self):
        assert standings("good failed good good") == "unproven quarantined quarantined proven pending"
        assert standings("good failed+good") == standings("good good+failed") == "unproven quarantined quarantined"

    def test_a_failed_check_made_void_is_as_if_it_had_not_been(self):
        good, failed, again = story("good failed good")
        assert [span.standing for span in cut([good, again])] == ["unproven", "proven", "pending"]
        assert cut([good, failed, again]) != cut([good, again])

    def test_a_reading_at_the_very_time_of_a_failed_check_is_inside(self):
        spans = cut(story("good failed+good-left"))
        assert span_at(spans, EIGHT + MINUTE).standing is Standing.QUARANTINED
        assert span_at(spans, EIGHT + MINUTE + timedelta(microseconds=1)).standing is Standing.PENDING

    def test_a_check_entered_late_cuts_the_timeline_again(self):
        first, last = story("good altered good")[::2]
        late = Mark(at=EIGHT + MINUTE, kind=MarkKind.FAILED_AS_FOUND, key="late", order=99)
        assert [span.standing for span in cut([first, last])] == ["unproven", "proven", "pending"]
        assert [span.standing for span in cut([first, last, late])] == [
            "unproven",
            "quarantined",
            "quarantined",
            "pending",
        ]


class TestRuns:
    def test_both_sides_of_a_failed_check_are_one_run_with_one_anchor(self):
        assert [span.anchor for span in cut(story("good failed good"))] == [None, "failed@1", "failed@1", None]

    def test_a_run_goes_on_over_further_failures_and_alterations(self):
        spans = cut(story("good failed failed altered failed-left good"))
        assert [span.anchor for span in spans] == [None, *["failed@1"] * 5, None]

    def test_a_good_check_as_left_between_two_failures_begins_a_new_run(self):
        spans = cut(story("good failed+good-left failed"))
        assert [span.anchor for span in spans] == [None, "failed@1", "failed@2", "failed@2"]

    def test_a_failed_check_as_left_after_a_good_one_begins_the_run_itself(self):
        spans = cut(story("good+altered+failed-left good"))
        assert [span.anchor for span in spans] == [None, "failed-left@0", None]

    def test_of_simultaneous_failures_the_one_recorded_last_speaks(self):
        first = Mark(at=EIGHT, kind=MarkKind.FAILED_AS_FOUND, key="check:1", order=1)
        second = Mark(at=EIGHT, kind=MarkKind.FAILED_AS_FOUND, key="check:2", order=2)
        assert {span.anchor for span in cut([second, first])} == {"check:2"}


class TestTimes:
    def test_a_time_without_a_zone_is_refused_even_among_times_with_one(self):
        naive = Mark(at=datetime(2031, 5, 1, 8), kind=MarkKind.GOOD_AS_FOUND, key="check:7")
        for marks in ([naive], [*story("good"), naive]):
            with pytest.raises(ValueError, match="check:7 has no zone; give an aware time"):
                cut(marks)

    def test_the_same_instant_in_two_zones_is_one_cut(self):
        east = EIGHT.astimezone(timezone(timedelta(hours=9)))
        marks = [*story("good"), Mark(at=east, kind=MarkKind.ALTERATION, key="event:1")]
        assert [span.standing for span in cut(marks)] == ["unproven", "quarantined"]

    def test_the_hour_that_the_clock_shows_twice_is_two_hours(self):
        """Local times of one zone compare by the clock on the wall, so 01:40 summer time seems to be after 01:20."""
        zone = ZoneInfo("Europe/Berlin")
        good = Mark(at=datetime(2031, 10, 26, 2, 40, tzinfo=zone, fold=0), kind=MarkKind.GOOD_AS_FOUND, key="a")
        failed = Mark(at=datetime(2031, 10, 26, 2, 20, tzinfo=zone, fold=1), kind=MarkKind.FAILED_AS_FOUND, key="b")
        spans = cut([failed, good])
        assert [span.anchor for span in spans] == [None, "b", "b"]
        assert spans[1].end - spans[1].start == timedelta(minutes=40)
