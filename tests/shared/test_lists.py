"""The table of records: rows on a desk, labelled cards on a phone, pages by key."""

from types import SimpleNamespace

import django_tables2 as tables
from django.template import Context, Template
from django.test import RequestFactory

from shared.tables import PickColumn


class Foods(tables.Table):
    pick = PickColumn(accessor="pk", label="food", name="reading")
    food = tables.Column(verbose_name="Food or unit", attrs={"td": {"class": "lead-cell"}})
    taken = tables.Column(orderable=False)

    class Meta:
        attrs = {"id": "foods"}
        row_attrs = {"class": lambda record: "is-void" if record["void"] else ""}


def drawn(rows, **attributes) -> str:
    table = Foods(rows)
    for name, value in attributes.items():
        setattr(table, name, value)
    page = Template("{% load django_tables2 %}{% render_table table 'tables/list.html' %}")
    return page.render(Context({"table": table, "request": RequestFactory().get("/")}))


ROW = {"pk": 7, "food": "Fish <pie>", "taken": "11:10", "void": False}


def test_each_cell_carries_its_label_for_the_phone():
    text = drawn([ROW])
    assert '<td role="cell" data-label="Food or unit" class="lead-cell">Fish &lt;pie&gt;</td>' in text
    assert '<td role="cell" data-label="Taken"' in text


def test_the_box_of_a_row_says_what_it_picks():
    text = drawn([ROW])
    assert '<input type="checkbox" name="reading" value="7">' in text
    assert "Choose Fish &lt;pie&gt;</span>" in text


def test_a_void_row_is_marked():
    assert 'class="is-void' in drawn([ROW | {"void": True}])
    assert "is-void" not in drawn([ROW])


def test_an_empty_list_says_so():
    assert "Nothing here yet." in drawn([])
    assert "No food today." in drawn([], empty_text="No food today.")


def test_the_pager_links_only_where_there_is_more():
    text = drawn([ROW], pager=SimpleNamespace(newer=None, older="?after=k"))
    assert 'rel="next"' in text and 'rel="prev"' not in text
    assert "<nav" not in drawn([ROW])


def test_column_heads_and_caption_are_read_as_such():
    text = drawn([ROW], caption="Readings of today")
    assert "<caption>Readings of today</caption>" in text
    assert text.count('scope="col"') == 3
