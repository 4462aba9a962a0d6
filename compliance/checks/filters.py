import django_filters as filters

from sites.choosing import SiteField, SiteOffer

from .models import Standing


class SiteChoiceFilter(filters.Filter):
    field_class = SiteField


class ProbeFilter(filters.FilterSet):
    """By code, site and standing; withdrawn probes only when asked for."""

    code = filters.CharFilter(field_name="code", lookup_expr="icontains", label="Code contains")
    site = SiteChoiceFilter(label="Site", empty_label="All sites")
    standing = filters.ChoiceFilter(choices=Standing.choices, label="Standing", method="by_standing", empty_label="Any")
    use = filters.ChoiceFilter(
        choices=[("withdrawn", "withdrawn"), ("all", "all")], label="In use", method="by_use", empty_label="in use"
    )

    def __init__(self, *args, person, **kwargs):
        super().__init__(*args, **kwargs)
        self.form.fields["site"].offer(SiteOffer(person), self.data)

    def filter_queryset(self, queryset):
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("use") else found.filter(withdrawn=False)

    def by_standing(self, queryset, name, value):
        if value == Standing.UNPROVEN:
            return queryset.exclude(state__standing__in=[s for s in Standing.values if s != value])
        return queryset.filter(state__standing=value)

    def by_use(self, queryset, name, value):
        return queryset.filter(withdrawn=True) if value == "withdrawn" else queryset
