"""Where and when: what the record covers, and what it cannot know."""

from shared.printing.flow import Writer
from shared.units import Unit

from ..scope import RecordScope


def write(writer: Writer, scope: RecordScope) -> None:
    site = scope.site
    writer.facts(
        [
            ("Area", scope.area.name),
            ("Address", ", ".join(site.address.split("\n")).strip()),
            ("Clock", f"{site.time_zone.replace('_', ' ')} ({scope.zone_names})"),
            ("Temperatures", f"{Unit(site.unit).label}; readings in the unit they were typed in"),
        ],
        columns=2,
    )
    if scope.now < scope.end:
        writer.note("The period was not over when this record was printed. What happened later is not in it.")
    if scope.before_book:
        writer.note(
            f"{scope.before_book}. Of the days before, this record holds only what was entered afterwards: where it shows "
            "nothing for them, nothing is known, and that does not mean that all was well."
        )
