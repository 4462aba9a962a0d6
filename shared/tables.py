"""Columns that several tables share, and how they look."""

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import mark_safe

LEAD, NUMBER, ACT, SPARE = (
    {"td": {"class": name}, "th": {"class": name}} for name in ("lead-cell", "number", "act", "spare")
)
# Its address, what it says, and, for those who only hear it, of what.
LINK = '<a class="button quiet-button small-button" href="{}">{}<span class="visually-hidden">: {}</span></a>'


class PickColumn(tables.Column):
    """A box before each row, to decide on several at once; screen readers hear which row it picks.

    `label` is the accessor of the words that name a row; the value sent is the column's own, usually the key. What a
    table names in `picked` is ticked already, so that a form that comes back with an error forgets nothing.
    """

    def __init__(self, *args, name: str = "pick", label: str = "", **kwargs):
        super().__init__(*args, **{"verbose_name": "", "orderable": False, **kwargs})
        self._input_name, self._label = name, tables.A(label) if label else None

    def render(self, value, record, table):
        words = self._label.resolve(record, quiet=True) if self._label else value
        ticked = mark_safe(" checked") if value in getattr(table, "picked", ()) else ""
        return format_html(
            '<label class="pick"><input type="checkbox" name="{}" value="{}"{}>'
            '<span class="visually-hidden">Choose {}</span></label>',
            self._input_name,
            value,
            ticked,
            words,
        )
