"""Decisions that no longer hold, counted for lists: only spans where something changed are assessed anew."""

from collections import Counter

from compliance.checks.models import Span
from compliance.limits.models import LimitVersion
from shared.prepared import Prepared, keys

from .assessing import bounds_of
from .grounds import is_graver, rested_in
from .outcomes import OutcomeInput, outcome_of

_SPANS = Prepared(lambda: Span.objects.filter(pk__in=keys()).order_by().select_related("probe", "behind", "ahead"))
_VERSIONS = Prepared(lambda: LimitVersion.objects.filter(pk__in=keys()).order_by())


def lost_decisions(shaken: list[int]) -> Counter[tuple[str, int]]:
    """By case and site, how many decisions in these spans no longer hold."""
    found: Counter[tuple[str, int]] = Counter()
    if not shaken:
        return found
    spans = _SPANS.objects(shaken)
    bounds = {span.pk: (span.anchor, error) for span, error in zip(spans, bounds_of(spans), strict=True)}
    rows = rested_in(shaken)
    versions = {version.pk: version for version in _VERSIONS.objects({row[2] for row in rows})}
    for span_id, site_id, version_id, milli, hold_s, since_s, before, good, count in rows:
        anchor, error = bounds[span_id]
        now = outcome_of(versions[version_id], OutcomeInput(milli, hold_s, since_s), error)
        if good or is_graver(now, before):
            found[anchor, site_id] += count
    return found
