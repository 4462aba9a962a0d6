"""What somebody asks to be printed: the sites, the days, and on which paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from django.utils.text import slugify

from sites.models import Site

from .people import People
from .scope import RecordScope


@dataclass(frozen=True, kw_only=True)
class RecordRequest:
    """The sites, the days, both included, and who prints when, on which paper."""

    sites: Sequence[Site]
    first: date
    last: date
    printed_by: str
    now: datetime
    paper: str = ""

    @cached_property
    def _people(self) -> People:
        return People.load()

    def scope(self, site: Site) -> RecordScope:
        """What is asked for of one site. Raises PeriodRefused."""
        return RecordScope(
            site=site,
            first=self.first,
            last=self.last,
            paper=self.paper or self.sites[0].paper,
            printed_by=self.printed_by,
            now=self.now,
            people=self._people.anew(),
        )

    @property
    def file_name(self) -> str:
        """A name in plain letters that says what is in the file."""
        if len(self.sites) == 1:
            site = self.sites[0]
            about = f"record-{slugify(site.name)[:60] or f'site-{site.pk}'}"
        else:
            about = f"records-{len(self.sites)}-sites"
        return f"{about}-{self.first.isoformat()}-to-{self.last.isoformat()}"
