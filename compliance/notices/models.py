"""Notices: what each person wants to be told, what they are told, and the secret addresses of calendar feeds."""

from datetime import time, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q, Value
from django.utils import timezone

from shared.lines import Line
from shared.time_text import clock_time
from sites.names import Name

from .recipients import Kind, Wish
from .timing import Quiet

CLAIMED_FOR = timedelta(minutes=15)  # by whoever sends it
KINDS = [(kind.value, kind.label) for kind in Kind]


class State(models.TextChoices):
    WAITING = "waiting", "waiting to be sent"
    SENT = "sent", "sent"
    FAILED = "failed", "not sent"
    NEEDLESS = "needless", "no longer needed"
    PAGE = "page", "in the pages only"


class Choice(models.Model):
    """How a person wants to be told of one kind. Without a row it is as the role has it; what it requires holds anyway."""

    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notice_choices")
    kind = models.CharField(max_length=12, choices=KINDS)
    by_mail = models.BooleanField()
    in_page = models.BooleanField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["person", "kind"], name="notice_choice_once")]

    def __str__(self):
        return f"{self.person}: {self.get_kind_display()}"

    def as_wish(self) -> Wish:
        return Wish(self.by_mail, self.in_page)


class QuietHours(models.Model):
    """Between which times, on the clock of the site concerned, a person gets no mail."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="quiet_hours", primary_key=True
    )
    starts = models.TimeField("from", default=time(21))
    ends = models.TimeField("until", default=time(6))

    class Meta:
        verbose_name_plural = "quiet hours"

    def __str__(self):
        return f"{clock_time(self.starts)} to {clock_time(self.ends)}"

    def as_quiet(self) -> Quiet:
        return Quiet(self.starts, self.ends)


class Notified(models.Model):
    """That people have been notified of something, whoever was there to be told: it is not looked at again.

    `number` is of a probe, a check, an event, a site, an area or a link, as the kind has it; `at` the due time, the time of
    the check, event or password, or until when it counts as told.
    """

    kind = models.CharField(max_length=12, choices=KINDS)
    number = models.BigIntegerField()
    at = models.DateTimeField()
    again_at = models.DateTimeField(null=True, help_text="When somebody else is told, if it still waits then.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "number", "at"], name="notice_mark_once")]
        indexes = [models.Index(fields=["again_at"], name="notice_again", condition=models.Q(again_at__isnull=False))]

    def __str__(self):
        return f"{self.kind} {self.number} {self.at:%Y-%m-%d %H:%M}"


class Watermark(models.Model):
    """Up to which moment it was looked for what is to be told of a kind."""

    kind = models.CharField(max_length=12, choices=KINDS, primary_key=True)
    at = models.DateTimeField()

    def __str__(self):
        return f"{self.kind} {self.at:%Y-%m-%d %H:%M}"


class Notice(models.Model):
    """The outbox and what the pages show: one row a person and thing told."""

    kind = models.CharField(max_length=12, choices=KINDS)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="notices", db_index=False
    )
    about = models.CharField(max_length=100, help_text="What it is about, and so what is told once.")
    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, null=True, related_name="notices")
    area = models.ForeignKey("sites.Area", on_delete=models.PROTECT, null=True, related_name="notices")
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField()
    link = models.CharField(max_length=200, help_text="Where to do what it asks for, without the host.")
    probes = models.JSONField(default=list, help_text="[number of a probe, due time] of each check that it asks for.")
    reminders = models.JSONField(default=list, help_text="The number of each reminder of a round that it asks for.")
    facts = models.JSONField(
        default=list,
        db_default=Value([], models.JSONField()),
        help_text="The number of each failed check that it tells of, or of each event by which a probe is gone.",
    )
    in_page = models.BooleanField()
    state = models.CharField(max_length=8, choices=State.choices)
    not_before = models.DateTimeField(null=True, help_text="When its mail may be tried; empty: at once.")
    attempts = models.PositiveSmallIntegerField(default=0)
    unclear_attempts = models.PositiveSmallIntegerField(
        default=0, db_default=0, help_text="How many of the last attempts on end nobody knows the outcome of."
    )
    tried_since = models.DateTimeField(null=True, help_text="When its mail was tried first.")
    answered_at = models.DateTimeField(null=True, help_text="When it was known last what came of a try.")
    claimed_at = models.DateTimeField(null=True, help_text="Since when a sender has it, for a quarter of an hour.")
    answered = models.TextField(blank=True, help_text="What the mail server said last.")
    sent_at = models.DateTimeField(null=True)
    read_at = models.DateTimeField(null=True)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "person", "about"], name="notice_once"),
            models.CheckConstraint(condition=~Q(state="page") | Q(in_page=True), name="notice_somewhere"),
        ]
        indexes = [
            models.Index(fields=["person", "-made_at"], name="notice_of_person"),
            models.Index(fields=["person"], name="notice_unread", condition=Q(in_page=True, read_at=None)),
            models.Index(fields=["not_before"], name="notice_unsent", condition=Q(state="waiting")),
            models.Index(fields=["site", "-made_at"], name="notice_undelivered", condition=Q(state="failed")),
            models.Index(fields=["sent_at"], name="notice_sent", condition=Q(state="sent")),
            models.Index(fields=["made_at"], name="notice_needless", condition=Q(state="needless")),
        ]

    def __str__(self):
        return self.subject


class FeedKey(models.Model):
    """A secret address of a site's calendar. Only a digest is kept, so that it is shown once."""

    class Shows(models.TextChoices):
        BOTH = "both", "checks and readings"
        CHECKS = "checks", "checks of probes"
        READINGS = "readings", "readings of rounds"

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="feed_keys")
    digest = models.CharField(max_length=64, unique=True)
    label = Line("who it is for", max_length=80)
    shows = models.CharField("what it shows", max_length=8, choices=Shows.choices, default=Shows.CHECKS)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", db_index=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self):
        return self.label

    @property
    def maker(self) -> Name:
        return self.made_by.name_at(self.made_at)

    @property
    def revoker(self) -> Name | None:
        return self.revoked_by and self.revoked_by.name_at(self.revoked_at)
