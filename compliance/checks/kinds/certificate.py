"""The check by a laboratory: its certificate states the error of the probe and how sure that is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.core.exceptions import ValidationError

from compliance.metrology.conformity import Zone
from compliance.metrology.verification import judge_stated, told_within, told_wrong
from compliance.metrology.vocabulary import Verdict
from compliance.probes.models import Probe
from shared.fields import LineField, SiteDateTimeField, TemperatureField
from shared.units import (
    Unit,
    difference_from_milli,
    difference_to_milli,
    from_milli,
    number,
    parse,
    to_milli,
)
from shared.widgets import TapNumber
from sites.models import Site

from ..evaluation import Typed, instrument_of, kept_conformity, rule_of, terms_of
from ..forms import AtSite, note_field, reason_field, stage_field
from ..models import Check, CheckKind
from .base import VERDICT, CheckData, KindOfCheck, OnPaper

STATED = {
    Verdict.IN_TOLERANCE: "In tolerance, by the laboratory's certificate: the probe may be used.",
    Verdict.OUT_OF_TOLERANCE: "Out of tolerance, by the laboratory's certificate: stop using this probe.",
    Verdict.INCONCLUSIVE: "Inconclusive: the certificate's uncertainty is too large to tell.",
}


@dataclass(frozen=True, kw_only=True)
class CertificateData(CheckData):
    """What a laboratory's certificate says, in milli-degrees."""

    kind = CheckKind.CERTIFICATE
    laboratory: str
    certificate_number: str
    reference_milli: int
    error_milli: int
    expanded_milli: int

    def fields(self) -> dict:
        return super().fields() | {
            "laboratory": _needed(self.laboratory, "Name the laboratory."),
            "certificate_number": _needed(self.certificate_number, "Give the number of the certificate."),
        }


def _needed(text: str, message: str) -> str:
    if not text.strip():
        raise ValidationError(message)
    return text.strip()


class CertificateForm(AtSite):
    checked_at = SiteDateTimeField(label="Measured at")
    stage = stage_field()
    laboratory = LineField(max_length=160)
    certificate_number = LineField(label="Number of the certificate", max_length=80)
    reference = TemperatureField(
        label="Reference temperature", initial="0", widget=TapNumber(), help_text="The point nearest to the ice point."
    )
    error = TemperatureField(
        label="Error of the probe",
        widget=TapNumber(),
        help_text="What it showed minus the reference. A correction is the same with the other sign.",
    )
    expanded = TemperatureField(
        label="Expanded uncertainty", widget=TapNumber(signed=False), help_text="As stated, for k = 2 or 95 %."
    )
    note = note_field()

    field_order = ["key", "reason"]

    def __init__(self, *args, site: Site, **kwargs):
        super().__init__(*args, site=site, **kwargs)
        self.fields["reference"].unit = site.unit
        if site.unit == Unit.FAHRENHEIT and not self.is_bound:
            self.initial.setdefault("reference", "32")

    def clean_expanded(self):
        if parse(self.cleaned_data["expanded"]) <= 0:
            raise ValidationError("The uncertainty is above zero. It stands beside the result on the certificate.")
        return self.cleaned_data["expanded"]

    def check_data(self) -> CertificateData:
        """The certificate as it is written down, in milli-degrees."""
        typed, unit = self.cleaned_data, self.site.unit
        names = ("key", "stage", "checked_at", "laboratory", "certificate_number", "note")
        return CertificateData(
            site=self.site,
            reference_milli=to_milli(parse(typed["reference"]), unit),
            error_milli=difference_to_milli(parse(typed["error"]), unit),
            expanded_milli=difference_to_milli(parse(typed["expanded"]), unit),
            **{name: typed[name] for name in names},
        )


class CertificateCorrection(CertificateForm):
    reason = reason_field("What was wrong?")


class CertificateCheck(KindOfCheck):
    value = CheckKind.CERTIFICATE
    data = CertificateData
    points = frozenset({CheckKind.ZERO, CheckKind.BOILING})
    version, phrases = 1, "da3525b99a887d6f"
    path = "certificate"
    title = "Certificate of {}"
    named = "its certificate"
    failed = "failed a laboratory’s check away from zero"
    sources = ("Error and uncertainty: as the laboratory states them.", VERDICT)
    afterwards = ("Clean the probe before it goes into food.",)
    form = CertificateForm
    correction = CertificateCorrection
    made_at_the_time = timedelta(days=30)  # a laboratory's paper takes its time
    near_edge = (
        "In tolerance, by the laboratory's certificate, but so near the edge that it may be out of tolerance: check it "
        "again soon."
    )
    provided = "if the certificate is right"
    also_said = ("reference_milli", "error_milli", "expanded_milli")
    on_paper = OnPaper(
        title="Laboratory’s certificate",
        passed="In tolerance, by the laboratory’s certificate.",
        noun="certificate",
        made="Entered: I entered what the laboratory’s certificate says.",
        signer="recorded_by",
        no_budget="The error and its expanded uncertainty (k = 2, 95 %) are those that the laboratory states; the budget is the "
        "laboratory’s own and is part of its certificate.",
    )

    def reference_on_paper(self, check: Check) -> str:
        return f"Certificate {check.certificate_number}, {check.laboratory}"

    def judged(self, probe: Probe, data: CertificateData, typed: Sequence[Typed]) -> dict:
        error, expanded = data.error_milli / 1000, data.expanded_milli / 1000
        try:
            stated = judge_stated(error, expanded, instrument_of(probe), rule_of(probe))
        except ValueError as refused:
            raise ValidationError(str(refused)) from None
        near = stated.verdict is Verdict.IN_TOLERANCE and stated.zone is Zone.CONDITIONAL_PASS
        wrong = [] if stated.verdict is Verdict.INCONCLUSIVE else [told_wrong(stated, self.provided)]
        return {
            "reading_milli": data.reference_milli + data.error_milli,
            "reference_milli": data.reference_milli,
            "error_milli": data.error_milli,
            "expanded_milli": data.expanded_milli,
            "verdict": stated.verdict.value,
            "budget": {"coverage_factor": 2.0, "conformity": kept_conformity(stated)},
            "why": [self.near_edge if near else STATED[stated.verdict], stated.why],
            "figures": [told_within(stated), *wrong],
            **terms_of(probe),
        }

    def initial(self, check: Check) -> dict:
        unit, names = check.site.unit, ("checked_at", "stage", "laboratory", "certificate_number", "note")
        differences = {"error": check.error_milli, "expanded": check.expanded_milli}
        return {
            **{name: getattr(check, name) for name in names},
            **{name: number(difference_from_milli(milli, unit), 3) for name, milli in differences.items()},
            "reference": number(from_milli(check.reference_milli, unit), 3),
        }
