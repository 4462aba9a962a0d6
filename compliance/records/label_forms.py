"""Which labels to print, and on which sheet."""

from django import forms

from compliance.probes.models import Probe
from shared.fields import RecordsField
from shared.printing.grid import GRIDS, USUAL
from sites.models import Site


class LabelForm(forms.Form):
    """Probes in use at a site, labels of one size, and the first of them that is free on the sheet."""

    probe = RecordsField(
        Probe.objects.none(),
        label="Probes",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Tick some, or none for all of the site.",
    )
    grid = forms.ChoiceField(
        label="Labels", choices=[(key, grid.words) for key, grid in GRIDS.items()], widget=forms.RadioSelect
    )
    first = forms.IntegerField(
        label="First free label",
        min_value=1,
        max_value=max(grid.count for grid in GRIDS.values()),
        help_text="1 on a new sheet. On one that is begun count along the rows, from the top left.",
    )

    def __init__(self, data=None, *, site: Site, ticked: list[int] | None = None):
        initial = {"probe": ticked or [], "grid": USUAL[site.paper], "first": 1}
        super().__init__(data, initial=initial)
        self.fields["probe"].queryset = Probe.objects.filter(site=site, withdrawn=False).order_by("code", "pk")

    def clean(self):
        given = super().clean()
        grid = GRIDS.get(given.get("grid"))
        if grid and given.get("first") and given["first"] > grid.count:
            self.add_error("first", f"A sheet of this size has {grid.count} labels. Give a number up to that.")
        return given

    def probes(self) -> list[Probe]:
        """Those that were ticked, or all in use at the site."""
        return list(self.cleaned_data["probe"] or self.fields["probe"].queryset)
