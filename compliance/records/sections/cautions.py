"""The cautions that belong to every record."""

from shared.cautions import caution
from shared.printing.flow import Writer

from ..scope import RecordScope

SHOWN = ("doubt", "probe_hygiene", "ice_bath", "insertion", "deferral")


def write(writer: Writer, scope: RecordScope) -> None:
    writer.heading("Cautions")
    writer.small_print([("", [(caution(key).title, caution(key).text) for key in SHOWN])])
