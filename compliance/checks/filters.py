import django_filters as filters
from django.utils import timezone

from shared.key_lists import among
from sites.choosing import SiteField, SiteOffer

from .fitness import Fitness, fitness_of


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
        """Whether they may be used is asked last, of those that are left."""
        found = super().filter_queryset(queryset)
        found = found if self.form.cleaned_data.get("use") else found.filter(withdrawn=False)
        wanted = self.form.cleaned_data.get("fitness")
        if not wanted:
            return found
        judged = fitness_of(list(found.values_list("pk", flat=True)), timezone.now())
        return found.filter(pk__in=among(pk for pk, each in judged.items() if each.state == wanted))

    def left_for_last(self, queryset, name, value):
        return queryset

    def by_use(self, queryset, name, value):
        return queryset.filter(withdrawn=True) if value == "withdrawn" else queryset
