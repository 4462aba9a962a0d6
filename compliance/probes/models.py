"""Instruments: what a probe is, where it has been, what happened to it."""

from datetime import datetime

from django.core.validators import MinValueValidator
from django.db import models

from compliance.metrology import vocabulary
from shared.append_only import Fact, Void
from shared.dated import DatedModel, SettingsFact
from shared.lines import Line
from sites.models import Site


class Sensor(models.TextChoices):
    THERMISTOR = vocabulary.Sensor.THERMISTOR.value, "thermistor"
    PT100_A = vocabulary.Sensor.PT100_A.value, "platinum resistance (Pt100), class A"
    PT100_B = vocabulary.Sensor.PT100_B.value, "platinum resistance (Pt100), class B"
    THERMOCOUPLE_K_1 = vocabulary.Sensor.THERMOCOUPLE_K_1.value, "thermocouple type K, class 1"
    THERMOCOUPLE_K_2 = vocabulary.Sensor.THERMOCOUPLE_K_2.value, "thermocouple type K, class 2"
    THERMOCOUPLE_T_1 = vocabulary.Sensor.THERMOCOUPLE_T_1.value, "thermocouple type T, class 1"
    THERMOCOUPLE_T_2 = vocabulary.Sensor.THERMOCOUPLE_T_2.value, "thermocouple type T, class 2"
    LIQUID_IN_GLASS = vocabulary.Sensor.LIQUID_IN_GLASS.value, "liquid in glass"
    BIMETAL = vocabulary.Sensor.BIMETAL.value, "bimetal dial"
    UNKNOWN = vocabulary.Sensor.UNKNOWN.value, "not known"


class ProbeColumns(models.Model):
    """What is known of an instrument."""

    code = Line("code on its label", max_length=20)
    description = Line(max_length=120, blank=True)
    sensor = models.CharField("kind of sensor", max_length=20, choices=Sensor.choices, default=Sensor.UNKNOWN)
    resolution_milli = models.PositiveIntegerField("display resolution", default=100, validators=[MinValueValidator(1)])
    tolerance_milli = models.PositiveIntegerField("tolerance", default=1000, validators=[MinValueValidator(1)])
    lowest_milli = models.IntegerField("working range from", default=-40_000)
    highest_milli = models.IntegerField("working range to", default=200_000)
    time_constant_s = models.FloatField("time constant in seconds", null=True, blank=True)
    stem_diameter_mm = models.FloatField("stem diameter in mm", null=True, blank=True)
    maker = Line(max_length=80, blank=True)
    model = Line(max_length=80, blank=True)
    serial = Line("serial number", max_length=80, blank=True)

    class Meta:
        abstract = True

    def __str__(self):
        return self.code


PARTICULARS = tuple(field.name for field in ProbeColumns._meta.fields)


class Probe(ProbeColumns, DatedModel):
    dated = PARTICULARS

    business = models.ForeignKey("sites.Business", on_delete=models.PROTECT, related_name="probes")
    site = models.ForeignKey(
        "sites.Site", on_delete=models.PROTECT, related_name="probes", help_text="Where it is now."
    )
    withdrawn = models.BooleanField(default=False, help_text="Out of use since its last event of that kind.")
    limits = models.ManyToManyField("limits.Limit", related_name="probes", blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [models.UniqueConstraint(fields=["business", "code"], name="probe_code_once")]

    def particulars_at(self, moment: datetime) -> "Probe":
        """The probe with the particulars that held at a moment. No query."""
        return self.as_of(moment)


class ProbeParticulars(ProbeColumns, SettingsFact):
    probe = models.ForeignKey(Probe, on_delete=models.PROTECT, related_name="settings_facts")


class OfItsTime:
    """A fact about a probe, and at a site unless it is none: what they were when it was so, at the time named by `moment`."""

    moment = ""

    @property
    def probe_then(self) -> Probe:
        return self.probe.particulars_at(getattr(self, self.moment))

    @property
    def site_then(self) -> Site:
        return self.site.settings_at(getattr(self, self.moment))

    def of_its_time(self):
        """The fact itself, to be shown with what its probe and its site were then."""
        self.probe, self.site = self.probe_then, self.site_then
        return self


class Placement(OfItsTime, Fact):
    """From this moment the probe is at this site, until its next placement."""

    moment = "starts_at"

    probe = models.ForeignKey(Probe, on_delete=models.PROTECT, related_name="placements")
    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="placements")
    starts_at = models.DateTimeField()
    reason = Line(max_length=200, blank=True)

    class Meta:
        ordering = ["probe", "starts_at", "pk"]
        indexes = [
            models.Index(fields=["probe", "starts_at"], name="placement_of_probe"),
            models.Index(fields=["site", "probe"], name="placement_at_site"),
        ]

    def __str__(self):
        return f"{self.probe} at {self.site}"


class EventKind(models.TextChoices):
    ADJUSTED = vocabulary.EventKind.ADJUSTED.value, "adjusted"
    REPAIRED = vocabulary.EventKind.REPAIRED.value, "repaired"
    DROPPED = vocabulary.EventKind.DROPPED.value, "dropped"
    DOUBTED = vocabulary.EventKind.DOUBTED.value, "doubted by somebody"
    NEW_BATTERY = vocabulary.EventKind.NEW_BATTERY.value, "new battery"
    WITHDRAWN = vocabulary.EventKind.WITHDRAWN.value, "withdrawn from use"
    GONE = vocabulary.EventKind.GONE.value, "gone: dead, lost or thrown away"
    RETURNED = vocabulary.EventKind.RETURNED.value, "returned to use"


ALTERATIONS = tuple(EventKind(kind.value) for kind in vocabulary.ALTERATIONS)
OUT_OF_USE = tuple(EventKind(kind.value) for kind in vocabulary.OUT_OF_USE)


class Event(OfItsTime, Fact):
    moment = "at"

    probe = models.ForeignKey(Probe, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=12, choices=EventKind.choices)
    at = models.DateTimeField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["probe", "at", "pk"]
        indexes = [
            models.Index(fields=["probe", "at"], name="event_of_probe"),
            models.Index(fields=["recorded_at"], name="event_gone_lately", condition=models.Q(kind="gone")),
        ]

    def __str__(self):
        return f"{self.probe} {self.get_kind_display()}"


class EventVoid(Void):
    voids = models.OneToOneField(Event, on_delete=models.PROTECT, related_name="void")
    replacement = models.OneToOneField(Event, on_delete=models.PROTECT, null=True, related_name="corrects")
