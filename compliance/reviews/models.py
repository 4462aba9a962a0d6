"""A second person's signature under the records of some days of a site. Only the acts are stored: whether a day is reviewed is
derived (`days.py`)."""

from django.db import models

from shared.append_only import Fact


class Meaning(models.TextChoices):
    REVIEWED = "reviewed", "Reviewed"
    SENT_BACK = "sent_back", "Not accepted"


# What is signed, in full; it is kept with the signature.
WORDS = {
    Meaning.REVIEWED: "I have read the records of these days, and made none of them. They are complete as far as I can tell, "
    "and what was not in order was dealt with.",
    Meaning.SENT_BACK: "I have read the records of these days, and made none of them. I do not accept them yet: see my remarks.",
}


class Review(Fact):
    """`recorded_by` has read the records of these days. The last one of a day counts; none is ever changed.

    It keeps how many records each day had then (`facts.py`), and the head of the chain.
    """

    site = models.ForeignKey("sites.Site", on_delete=models.PROTECT, related_name="reviews", db_index=False)
    first_day = models.DateField()
    last_day = models.DateField()
    meaning = models.CharField(max_length=12, choices=Meaning.choices)
    words = models.CharField("what was signed", max_length=300)
    remarks = models.TextField(blank=True)
    rests_on = models.JSONField("how many records each day had", default=dict)
    entry_number = models.BigIntegerField("newest entry of the trail", default=0)
    entry_hash = models.CharField("and its hash", max_length=64, blank=True)

    class Meta:
        ordering = ["site", "pk"]
        indexes = [models.Index(fields=["site", "last_day"], name="review_of_days")]

    def __str__(self):
        days = f"{self.first_day} to {self.last_day}" if self.last_day > self.first_day else f"{self.first_day}"
        return f"{self.site}, {days}: {self.get_meaning_display()}"
