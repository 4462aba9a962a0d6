"""What was set anew in the period for the site, its business, probes and appliances, and what was corrected of it later."""

from compliance.appliances.models import Appliance
from compliance.appliances.wording import appliance_changes
from compliance.probes.wording import probe_changes
from shared.dated import SettingChange
from shared.printing.flow import Writer
from shared.printing.table import Column, Row
from shared.time_text import moment
from sites.wording import business_changes, site_changes

from ..scope import RecordScope, once

COLUMNS = [
    Column("Set", points=72),
    Column("Of", points=62),
    Column("What", share=1),
    Column("Was", share=1.2),
    Column("Is", share=1.2),
    Column("Why", share=1.4),
    Column("By", points=24),
]
EXPLAINED = (
    "Every line of this record says what was set at its time; its head, and what it says of a probe as a whole, what was set "
    "at the end of the period. A correction puts right what was wrong before: this record says what it says, and lists it "
    "whenever it was made."
)


def write(writer: Writer, scope: RecordScope) -> None:
    rows = [_row(*told, scope) for told in changes_here(scope)]
    if rows:
        writer.heading("Changes of what was set")
        writer.table(COLUMNS, rows, dense=True)
        writer.paragraph(EXPLAINED, small=True)


@once
def changes_here(scope: RecordScope) -> list[tuple[str, SettingChange, tuple[str, str, str]]]:
    """Of what, the change, and in words what it is about, what it was and what it is."""
    probes = {here.probe.pk: here.probe for here in scope.probes}
    told = [("Business", each, words) for each, words in business_changes(scope.business)]
    told += [("Site", each, words) for each, words in site_changes(scope.site)]
    for each, words in probe_changes(probes, scope.site.unit):
        told.append((f"Probe {probes[each.fact.probe_id].particulars_at(each.fact.recorded_at).code}", each, words))
    appliances = Appliance.objects.filter(site=scope.site.pk).in_bulk()
    for each, words in appliance_changes(appliances):
        told.append((appliances[each.fact.appliance_id].named_at(each.fact.recorded_at).name, each, words))
    told.sort(key=lambda line: (line[1].fact.recorded_at, line[1].fact.pk))
    return [line for line in told if _belongs(line[1], scope)]


def _belongs(change: SettingChange, scope: RecordScope) -> bool:
    """Made in the period; or a correction, made later, of what was set in it."""
    at = change.fact.recorded_at
    if change.fact.corrects:
        return scope.start <= at <= scope.now and (change.since is None or change.since < scope.end)
    return scope.holds(at) and at <= scope.now


def _row(of: str, change: SettingChange, words: tuple[str, str, str], scope: RecordScope) -> Row:
    fact = change.fact
    by = scope.people.initials_of(fact) if fact.recorded_by_id else "–"
    since = "the start" if change.since is None else moment(change.since, scope.zone)
    note = f"A correction: it holds from {since}." if fact.corrects else ""
    return Row((moment(fact.recorded_at, scope.zone), of, *words, fact.reason or "no reason given", by), note=note)
