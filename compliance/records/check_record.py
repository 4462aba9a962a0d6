"""The printed record of one check: what was found and what it means first, then everything that it rests on."""

from collections.abc import Iterator
from datetime import datetime
from typing import BinaryIO

from compliance.checks.check_page import sentences, stored_verdict
from compliance.checks.kinds import kind_of
from compliance.checks.models import Check, Stage, Verdict
from compliance.checks.queries import entered_late, is_near_edge, not_cleared, passed_near_edge, run_of
from compliance.probes.models import ALTERATIONS, Event
from compliance.probes.wording import probe_changes
from shared.audit.chain import newest_of
from shared.audit.head import head_line
from shared.cautions import caution
from shared.phone_time import phone_words
from shared.printing.flow import Writer
from shared.printing.page import Imprint, Masthead
from shared.time_text import moment, zoned_moment
from shared.units import show, show_spread, show_step
from sites.wording import site_changes

from . import check_measured
from .formatting import error, joined, sentence, uncertainty
from .paper import FOOT

STAGES = {
    Stage.AS_FOUND: "As found: before anything was adjusted. It speaks for what was read before it and after it.",
    Stage.AS_LEFT: "As left, after an adjustment or a repair. It speaks for what is read after it, not before.",
}
VOID = " (void)"
REVIEWED = "Reviewed: I have read this record and followed up what is open."


def write_check(out: BinaryIO, check: Check, *, printed_by: str, now: datetime) -> None:
    """Write the record of one check, on the paper of its site, as a PDF to a binary file object."""
    site, probe = check.of_its_time().site, check.probe
    business, void = site.area.business.rules_at(check.checked_at), hasattr(check, "void")
    masthead = Masthead(
        business=business.name,
        site=site.name,
        title=f"{kind_of(check).on_paper.title} of probe {probe.code}",
        period=f"Check C{check.pk}{VOID if void else ''}, {zoned_moment(check.checked_at, site.zone)}",
    )
    head = head_line(newest_of(business.pk), site.zone)
    imprint = Imprint(printed_by=printed_by, printed_at=now, zone=site.zone, note=FOOT, witness=head)
    with Writer(out, masthead=masthead, imprint=imprint, page_size=site.paper) as writer:
        _write_verdict(writer, check)
        _write_about(writer, check)
        check_measured.write(writer, check)
        _write_sources(writer, check)
        _write_signatures(writer, check)
        _write_end(writer, check)


def _write_verdict(writer: Writer, check: Check) -> None:
    _write_standing(writer, check)
    writer.heading("What this check says")
    if hasattr(check, "void"):
        writer.paragraph("This is what it said before it was struck out. It holds no longer:")
    writer.paragraph(verdict_in_words(check), strong=True)
    for line in sentences(check)[0]:
        writer.paragraph(joined(line))
    unit = check.site.unit
    writer.facts(
        [
            ("Verdict", check.get_verdict_display().capitalize()),
            ("Error, ± U (95 %)", f"{error(check, unit)} {uncertainty(check.expanded_milli, unit)}"),
            ("Allowed", joined(show_spread(check.tolerance_milli, unit))),
            ("What follows", " ".join(_follows(check))),
        ]
    )


def verdict_in_words(check: Check) -> str:
    """The verdict in a sentence that stays true on paper, whatever happens to the probe later."""
    if check.verdict != Verdict.IN_TOLERANCE:
        return stored_verdict(check)
    failed = not_cleared([check]).get(check.pk)
    if failed and not hasattr(check, "void"):
        return f"In tolerance where it was checked, but it did not clear the probe: C{failed.pk}, away from zero, had failed."
    return kind_of(check).near_edge if is_near_edge(check) else kind_of(check).on_paper.passed


def _follows(check: Check) -> Iterator[str]:
    if hasattr(check, "void"):
        yield "Nothing: it was struck out."
    elif check.verdict == Verdict.INCONCLUSIVE:
        if showed := (check.typing or {}).get("showed"):
            yield f"The probe is not to be used until it has passed a check: it showed {showed}."
        yield "It neither clears the probe nor condemns it: put right what is said above and check again."
    elif check.verdict == Verdict.OUT_OF_TOLERANCE:
        yield "Stop using the probe, label it and keep it apart. Adjust it, have it repaired or withdraw it, and check it again."
        if run := run_of(check):
            kind, _, number_ = run.partition(":")
            case = f"{'C' if kind == 'check' else 'E'}{number_}"
            yield f"Readings in doubt: case {case} in the record of the site. Hold that food until somebody has decided on it."
    elif check.pk in not_cleared([check]):
        yield "The probe stays in doubt until it passes a check where it failed."
    elif passed_near_edge(check):
        yield "It is near the edge of its tolerance: its next check falls due earlier."
    else:
        yield kind_of(check).on_paper.follows


def _write_standing(writer: Writer, check: Check) -> None:
    """What was struck out or corrected comes before everything else."""
    zone, void, corrects = check.site.zone, getattr(check, "void", None), getattr(check, "corrects", None)
    if void:
        instead = f"In its place: C{void.replacement_id}." if void.replacement_id else "Nothing stands in its place."
        who = f"By {void.name_of()}, {moment(void.recorded_at, zone)}: {sentence(void.reason)}"
        writer.caution(f"{who} {instead}", "Struck out: this check no longer counts")
    if corrects:
        who = f"{corrects.name_of()}, {moment(corrects.recorded_at, zone)}: {sentence(corrects.reason)}"
        writer.note(f"It stands in place of C{corrects.voids_id}, which stays readable. {who}", "Corrected")


def _write_about(writer: Writer, check: Check) -> None:
    writer.heading("What was checked, where, when and by whom")
    writer.facts(_about(check))


def _about(check: Check) -> Iterator[tuple[str, object]]:
    probe, site, unit, zone = check.probe, check.site, check.site.unit, check.site.zone
    yield "Probe", ", ".join(filter(None, (probe.code, probe.description)))
    yield "Sensor", probe.get_sensor_display()
    yield "Maker, model, serial", ", ".join(filter(None, (probe.maker, probe.model, probe.serial)))
    span = f"{show(probe.lowest_milli, unit, 0)} to {show(probe.highest_milli, unit, 0)}"
    yield "Display and range", joined(f"steps of {show_step(probe.resolution_milli)}, from {span}")
    yield "Where", "\n".join(filter(None, (site.name, site.address.strip())))
    yield "Procedure", _procedure(check)
    yield "Condition", _condition(check)
    yield "Checked", zoned_moment(check.checked_at, zone)
    yield "By", check.name_of("checked_by").name
    late = "late, " if entered_late(check) else ""
    yield "Entered", f"{late}{zoned_moment(check.recorded_at, zone)}, by {check.name_of()}"
    if check.phone:
        yield "Typed on a phone", f"Without network, {phone_words(check.phone, zone)}"
    yield "Stage", STAGES[Stage(check.stage)]
    yield "Beside it", "\n".join(_beside(check))
    if check.laboratory:
        yield "Laboratory", check.laboratory
        yield "Certificate", check.certificate_number
    yield "Note", check.note
    if corrected := list(_corrected(check)):
        yield "Corrected since", "\n".join(corrected)
    if changed := list(_changed_names(check)):
        yield "Name changed", "\n".join(changed)


def _procedure(check: Check) -> str:
    kind = kind_of(check)
    how = "step by step, as described below" if kind.guided else "as its certificate says"
    if check.procedure_version is None:
        return f"{kind.on_paper.title}, {how}. Its version is not recorded."
    version = f"version {check.procedure_version}, in force when this check was first entered"
    return f"{kind.on_paper.title} ({version}), {how}."


def _condition(check: Check) -> str:
    """What is recorded to have happened to the probe since the check before; nobody is asked to describe it."""
    before = (
        Check.objects.live()
        .filter(probe=check.probe_id, checked_at__lt=check.checked_at)
        .order_by("-checked_at")
        .first()
    )
    events = Event.objects.live().filter(probe=check.probe_id, at__lte=check.checked_at).order_by("at", "pk")
    if before:
        events = events.filter(at__gt=before.checked_at)
    told = [f"{event.get_kind_display()}, {moment(event.at, check.site.zone)} (E{event.pk})" for event in events[:5]]
    since = f"since check C{before.pk}" if before else "before this check"
    return f"Recorded {since}: {'; '.join(told)}." if told else f"Nothing that happened to it is recorded {since}."


def _corrected(check: Check) -> Iterator[str]:
    """What was put right since of that which was set for the probe and the site when the check was made."""
    told = [*probe_changes([check.probe_id], check.site.unit), *site_changes(check.site)]
    for change, (label, was, now) in told:
        fact = change.fact
        if (
            fact.corrects
            and fact.recorded_at > check.recorded_at
            and (change.since is None or change.since <= check.checked_at)
        ):
            by, at = (
                fact.name_of() if fact.recorded_by else "who runs Noughtbook",
                moment(fact.recorded_at, check.site.zone),
            )
            yield f"{sentence(label)[:-1]}: was {was}, is {now}; {by}, {at}: {sentence(fact.reason)}"


def _changed_names(check: Check) -> Iterator[str]:
    """Other names that those named here have got since."""
    facts = filter(None, (check, getattr(check, "void", None), getattr(check, "corrects", None)))
    people = {
        person.pk: person
        for fact in facts
        for person in (fact.recorded_by, getattr(fact, "checked_by", None))
        if person
    }
    for person in people.values():
        for change in person.names.filter(recorded_at__gt=check.recorded_at).exclude(former_name=""):
            yield f"{change.former_name} is called {change.name} since {moment(change.recorded_at, check.site.zone)}"


def _beside(check: Check) -> Iterator[str]:
    """As found and as left: the check before of its kind, the one after, and the adjustments between them."""
    same = Check.objects.live().filter(probe=check.probe_id, kind=check.kind).exclude(pk=check.pk)
    before = same.filter(checked_at__lte=check.checked_at).order_by("-checked_at", "-pk").first()
    after = same.filter(checked_at__gt=check.checked_at).order_by("checked_at", "pk").first()
    if before:
        yield _neighbour("Before", before, check)
    altered = Event.objects.live().filter(probe=check.probe_id, kind__in=ALTERATIONS).order_by("at", "pk")
    if before:
        altered = altered.filter(at__gte=before.checked_at)
    if after:
        altered = altered.filter(at__lte=after.checked_at)
    for event in altered[:20]:
        yield f"E{event.pk}, {moment(event.at, check.site.zone)}: {event.get_kind_display()}"
    if after:
        yield _neighbour("After", after, check)


def _neighbour(word: str, other: Check, check: Check) -> str:
    unit = check.site.unit
    figures = f"{error(other, unit)} {uncertainty(other.expanded_milli, unit)}".strip()
    at, stage = moment(other.checked_at, check.site.zone), other.get_stage_display().split(",")[0]
    return f"{word}: C{other.pk}, {at}, {stage}, {other.get_verdict_display()}, error {figures}"


def _write_sources(writer: Writer, check: Check) -> None:
    writer.heading("Where the figures come from")
    for line in kind_of(check).sources:
        writer.paragraph(line, small=True)


def _write_end(writer: Writer, check: Check) -> None:
    """What a report of a calibration says of itself: ISO/IEC 17025:2017, 7.8.2.1."""
    with writer.together():
        writer.paragraph(
            f"These results relate only to probe {check.probe.code}, as it was when it was checked, and to nothing else that was "
            "measured with it."
        )
        writer.paragraph(f"End of the print of check C{check.pk}.", strong=True)


def _write_signatures(writer: Writer, check: Check) -> None:
    on_paper = kind_of(check).on_paper
    signer = check.name_of(on_paper.signer)
    with writer.together():
        writer.heading("Signatures")
        for words, name in ((on_paper.made, signer.name), (REVIEWED, "")):
            meaning, _, said = words.partition(": ")
            writer.paragraph(said)
            writer.signature(name, None, meaning)
    for key in on_paper.cautions:
        writer.caution(caution(key).text, caution(key).title)
    deferral = caution("deferral")
    writer.note(deferral.text, deferral.title)
