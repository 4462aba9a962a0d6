"""Where the work is done and who does it: the business, its areas and sites, its people and their roles."""

from datetime import datetime, tzinfo
from typing import NamedTuple
from zoneinfo import available_timezones

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.crypto import salted_hmac

from shared.append_only import Fact
from shared.dated import DatedModel, SettingsFact
from shared.lines import Line
from shared.units import Unit

from .clocks import clock_of
from .countries import parts_of
from .names import Name, name_at


class DecisionRule(models.TextChoices):
    """How the uncertainty of a check enters its verdict."""

    NON_BINARY = "non_binary", "In tolerance up to its edge; near the edge, check again soon"
    GUARDED = "guarded", "In tolerance only with room for the uncertainty"
    SIMPLE = "simple", "In tolerance up to its edge, whatever the uncertainty"


class BusinessColumns(models.Model):
    """What is set for a business."""

    name = Line(max_length=120)
    decision_rule = models.CharField(
        "when a probe is in tolerance", max_length=12, choices=DecisionRule.choices, default=DecisionRule.NON_BINARY
    )
    reliability_target = models.PositiveSmallIntegerField(
        "probes that shall pass their next check, in percent",
        default=95,
        validators=[MinValueValidator(50), MaxValueValidator(99)],
    )
    review_days = models.PositiveSmallIntegerField(
        "working days in which the records of a day are reviewed",
        default=7,
        db_default=7,
        validators=[MinValueValidator(1), MaxValueValidator(30)],
    )

    class Meta:
        abstract = True

    def __str__(self):
        return self.name


class Business(BusinessColumns, DatedModel):
    """The organisation that answers for the food; its name stands on every printed record."""

    dated = ("name", "decision_rule", "reliability_target", "review_days")

    class Meta:
        verbose_name_plural = "businesses"

    def rules_at(self, moment: datetime) -> "Business":
        """The business by the name and with the rules that held at a moment. No query."""
        return self.as_of(moment)


class BusinessRules(BusinessColumns, SettingsFact):
    business = models.ForeignKey(Business, on_delete=models.PROTECT, related_name="settings_facts")


class Area(models.Model):
    business = models.ForeignKey(Business, on_delete=models.PROTECT, related_name="areas")
    name = Line(max_length=120)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["business", "name"], name="area_name_once")]

    def __str__(self):
        return self.name


def known_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError(f"“{name}” is not a time zone. Use a name such as Europe/Dublin.")


class Paper(models.TextChoices):
    A4 = "A4", "A4"
    LETTER = "Letter", "Letter"


class SiteColumns(models.Model):
    """What is set for a site."""

    name = Line(max_length=120)
    address = models.TextField(blank=True)
    time_zone = models.CharField(max_length=60, default="UTC", validators=[known_time_zone])
    unit = models.CharField("temperatures shown in", max_length=1, choices=Unit.choices, default=Unit.CELSIUS)
    altitude_m = models.IntegerField(
        "altitude in metres", default=0, validators=[MinValueValidator(-430), MaxValueValidator(5100)]
    )
    country = models.CharField(
        max_length=2, blank=True, help_text="ISO 3166 code, such as IE or NZ, for its public holidays."
    )
    subdivision = models.CharField(
        "part of the country", max_length=3, blank=True, help_text="ISO 3166-2 code after the hyphen, such as SCT."
    )
    closed_on_holidays = models.BooleanField("closed on public holidays", default=False)
    closed = models.BooleanField(default=False, help_text="A closed site stays in the record; nothing falls due there.")

    class Meta:
        abstract = True

    def __str__(self):
        return self.name


class Site(SiteColumns, DatedModel):
    dated = (
        "area_id",
        "name",
        "address",
        "time_zone",
        "unit",
        "altitude_m",
        "country",
        "subdivision",
        "closed_on_holidays",
        "closed",
    )
    of_now = ("area_id",)  # roles are held by it

    area = models.ForeignKey(Area, on_delete=models.PROTECT, related_name="sites")
    paper = models.CharField("paper for records", max_length=6, choices=Paper.choices, default=Paper.A4)
    reopened_at = models.DateTimeField(
        null=True, editable=False, help_text="When it was last opened again after it was closed for good."
    )

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["area", "name"], name="site_name_once")]
        indexes = [models.Index(fields=["time_zone"], name="site_in_zone")]

    def settings_at(self, moment: datetime) -> "Site":
        """The site with the settings that held at a moment, in the area where it is now. No query."""
        return self.as_of(moment)

    @property
    def zone(self) -> tzinfo:
        """Its clock, which shows each moment as it was shown then."""
        present = self.present
        return clock_of(present.time_zone, tuple((each["time_zone"], each["until"]) for each in present.former))

    def clean(self):
        """Raises ValidationError where the public holidays of the country or the part of it are not known."""
        parts = parts_of(self.country) if self.country else ()
        if parts is None:
            raise ValidationError({"country": "Its public holidays are not known. Leave it empty, and enter closures."})
        if self.subdivision and self.subdivision not in parts:
            known = ", ".join(parts) or "none"
            raise ValidationError({"subdivision": f"Leave it empty, or give one that is known there: {known}."})
        if self.closed_on_holidays and not self.country:
            raise ValidationError({"country": "Say in which country it is, so that its public holidays are known."})


class SiteSettings(SiteColumns, SettingsFact):
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="settings_facts")
    area = models.ForeignKey(Area, on_delete=models.PROTECT, related_name="+", db_index=False)


class Role(models.IntegerChoices):
    """What somebody may do, each including the one before it."""

    READER = 10, "reader"
    COOK = 20, "cook"
    MANAGER = 30, "site manager"
    SUPERVISOR = 40, "area supervisor"


class RoleHeld(NamedTuple):
    """A role, at the site or the area of this key; the other is None."""

    site: int | None
    area: int | None
    role: int


class PersonManager(BaseUserManager):
    def create_user(self, email, password=None, **fields):
        person = self.model(email=email.strip().lower(), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def get_by_natural_key(self, email):
        return self.get(email=email.strip().lower())


class Person(AbstractBaseUser):
    email = models.EmailField("e-mail", unique=True)
    name = Line(max_length=120)
    initials = Line(max_length=6)
    is_active = models.BooleanField("may sign in", default=True)
    revocations = models.PositiveIntegerField(
        default=0, editable=False, help_text="Counted up to end all sessions, known devices and password links at once."
    )

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name", "initials"]

    objects = PersonManager()

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "people"
        constraints = [models.UniqueConstraint(Lower("email"), name="person_email_once")]

    # The one site that is open to a session that a PIN opened, and the role that it opens there at most: that of a cook
    # (`sites.kitchen_sessions`).
    kitchen: int | None = None
    kitchen_most: int = Role.COOK
    # On the person who opens a page: their roles, and what else was asked of the database once for it (`sites.asked_once`).
    answers: dict | None = None

    def __str__(self):
        return self.name

    def name_at(self, moment: datetime) -> Name:
        """What they were called at a moment. A query, unless `names` was prefetched."""
        return name_at(self, self.names.all(), moment)

    @property
    def mailbox(self) -> str:
        """The e-mail before the @."""
        return self.email.partition("@")[0]

    def get_session_auth_hash(self) -> str:
        """As Django's, which changes with the password; and once more whenever everything is revoked."""
        told = f"{self.revocations}:{self.password}"
        return salted_hmac("noughtbook.session", told, algorithm="sha256").hexdigest()


class PersonName(Fact):
    """What somebody is called after `recorded_at`, and was called until then. Records print the name of their time."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="names")
    name = Line(max_length=120)
    initials = Line(max_length=6)
    former_name = Line(max_length=120, blank=True, help_text="Empty for the name that somebody came with.")
    former_initials = Line(max_length=6, blank=True)
    reason = models.TextField(blank=True)
    recorded_by = models.ForeignKey(
        Person,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        editable=False,
        db_index=False,
        help_text="Empty where whoever runs the machine wrote it.",
    )

    class Meta:
        ordering = ["recorded_at", "pk"]

    def __str__(self):
        return self.name


class Membership(models.Model):
    """A role at one site, or at an area and so at all its sites."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    role = models.PositiveSmallIntegerField(choices=Role.choices)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="memberships")
    area = models.ForeignKey(Area, on_delete=models.PROTECT, null=True, blank=True, related_name="memberships")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(site__isnull=True, area__isnull=False)
                | models.Q(site__isnull=False, area__isnull=True),
                name="membership_at_site_or_area",
            ),
            models.UniqueConstraint(fields=["person", "site"], name="membership_once_a_site"),
            models.UniqueConstraint(fields=["person", "area"], name="membership_once_an_area"),
        ]

    def __str__(self):
        return f"{self.person}, {self.get_role_display()}, {self.site or self.area}"


class PasswordLink(models.Model):
    """A link by which its person chooses a password, once. Its secret is kept nowhere (`sites.password_links`)."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="password_links")
    made_by = models.ForeignKey(
        Person,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        db_index=False,
        help_text="Empty where it was made by a command, by whoever runs the machine.",
    )
    made_at = models.DateTimeField(default=timezone.now)
    used_at = models.DateTimeField(null=True)
    seen_at = models.DateTimeField(null=True, help_text="When its person said that they know of it.")

    class Meta:
        indexes = [
            models.Index(fields=["used_at"], name="password_link_used", condition=models.Q(used_at__isnull=False))
        ]

    def __str__(self):
        return f"Link for {self.person}, made by {self.maker}"

    @property
    def maker(self) -> str:
        return str(self.made_by.name_at(self.made_at)) if self.made_by else "whoever runs Noughtbook"


class PasswordTries(models.Model):
    """How many passwords were tried lately, so that guessing can be slowed (`sites.login_throttle`). No record."""

    account = models.CharField("digest of the e-mail typed; empty: of all", max_length=64, blank=True)
    place = models.CharField("digest of the network or of the known device; empty: of all", max_length=64, blank=True)
    since = models.DateTimeField(db_index=True)
    tries = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["account", "place"], name="password_tries_once")]

    def __str__(self):
        return f"{self.tries} since {self.since:%Y-%m-%d %H:%M}"


class KitchenDevice(models.Model):
    """A phone or tablet that stays at a site, known by the secret that its browser keeps. Its work names it in the trail."""

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="kitchen_devices")
    name = Line(max_length=60)
    digest = models.CharField("digest of its secret", max_length=64, unique=True)
    registered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", db_index=False)
    registered_at = models.DateTimeField(default=timezone.now)
    revoked_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["revoked_at", "name", "pk"]

    def __str__(self):
        return f"{self.name} (device {self.pk})"

    @property
    def registrar(self) -> str:
        return str(self.registered_by.name_at(self.registered_at))

    @property
    def revoker(self) -> str:
        return str(self.revoked_by.name_at(self.revoked_at)) if self.revoked_by else ""


class KitchenPin(models.Model):
    """By which its person says who they are on a kitchen's device; hashed as passwords are. No record."""

    person = models.OneToOneField(Person, on_delete=models.CASCADE, related_name="kitchen_pin")
    pin = models.CharField("hash of it", max_length=128)
    revocations = models.PositiveIntegerField(
        help_text="Those of its person when it was chosen: it ends with the next."
    )
    wrong = models.PositiveSmallIntegerField("wrong ones since the last right one", default=0)
    set_at = models.DateTimeField(default=timezone.now)

    def __str__(self):
        return f"PIN of {self.person}"
