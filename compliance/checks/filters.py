from datetime import datetime

import django_filters as filters

from sites.choosing import SiteField, SiteOffer

from .fitness import Fitness, Judgement, fitness_of, may_be

SOME = 1000


class SiteChoiceFilter(filters.Filter):
    field_class = SiteField


class ProbeFilter(filters.FilterSet):
    """By code, site and whether they may be used; withdrawn probes only when asked for."""

    code = filters.CharFilter(field_name="code", lookup_expr="icontains", label="Code contains")
    site = SiteChoiceFilter(label="Site", empty_label="All sites")
    fitness = filters.ChoiceFilter(
        choices=Fitness.choices, label="May it be used?", method="left_for_last", empty_label="Any"
    )
    use = filters.ChoiceFilter(
        choices=[("withdrawn", "withdrawn"), ("all", "all")], label="In use", method="by_use", empty_label="in use"
    )

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.form.fields["site"].offer(SiteOffer(person), self.data)

    def filter_queryset(self, queryset):
        """Whether they may be used is asked last, of those that are left, by `first`."""
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("use") else found.filter(withdrawn=False)

    def first(self, queryset, most: int, now: datetime) -> tuple[list[tuple[str, int]], dict[int, Judgement]]:
        """The code and key of the first of these that may be used as is asked for, and what was judged on the way. Nearly always
        they are among the first thousand; where not, all that are left are judged."""
        keys, wanted = queryset.values_list("code", "pk"), self.form.cleaned_data.get("fitness")
        if not wanted:
            return list(keys[:most]), {}
        keys = keys.filter(may_be(wanted, now))
        found, judged = [], {}
        for some in (keys[:SOME], keys[SOME:]):
            judged |= fitness_of([pk for _, pk in some], now)
            found += [(code, pk) for code, pk in some if judged[pk].state == wanted]
            if len(found) >= most:
                break
        return found[:most], judged

    def left_for_last(self, queryset, name, value):
        return queryset

    def by_use(self, queryset, name, value):
        return queryset.filter(withdrawn=True) if value == "withdrawn" else queryset
