"""Lists of sites, areas and people."""

import django_tables2 as tables
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from shared.time_text import padded_day

from .access import roles_at
from .addresses import address
from .models import Person, Role, Site

LEAD = {"td": {"class": "lead-cell"}}
ACT = {"td": {"class": "act"}}


def site_rows(sites: list[Site], person: Person) -> list[dict]:
    """What a list shows of each site, with what this person may do there. Two queries for any number of sites."""
    held = roles_at(person, sites)
    return [
        {
            "name": site.name,
            "area": site.area.name,
            "role": Role(held[site.pk]).label.capitalize(),
            "clock": site.time_zone.replace("_", " "),
            "unit": site.get_unit_display(),
            "closed": site.closed,
            "links": _links(site, held[site.pk]),
        }
        for site in sites
    ]


def _links(site: Site, role: int) -> SafeString:
    pages = [("Limits", address("limit_list", site.pk)), ("Appliances", address("appliance_list", site.pk))]
    pages.append(("Plans", address("plan_list", site.pk)))
    if role >= Role.MANAGER:
        pages.append(("Calendar feeds", address("feed_list", site.pk)))
        pages.append(("Devices", address("site_devices", site.pk)))
    if role >= Role.SUPERVISOR:
        pages.append(("Change", address("site_edit", site.pk)))
    shown = [(url, label, site.name) for label, url in pages if url]
    return format_html_join(" ", LINK, shown)


LINK = '<a class="button quiet-button small-button" href="{}">{}<span class="visually-hidden">: {}</span></a>'
PERSON = '<a href="{}">{}</a>'


class SiteTable(tables.Table):
    name = tables.Column("Site", attrs=LEAD)
    area = tables.Column()
    role = tables.Column("Your role")
    unit = tables.Column("Shown in")
    clock = tables.Column("Clock", attrs={"td": {"class": "spare"}, "th": {"class": "spare"}})
    links = tables.Column("", attrs=ACT)

    class Meta:
        orderable = False
        row_attrs = {"class": lambda record: "is-closed quiet" if record["closed"] else None}

    def render_name(self, record):
        return f"{record['name']} (closed)" if record["closed"] else record["name"]


class AreaTable(tables.Table):
    name = tables.Column("Area", attrs=LEAD)
    business = tables.Column()
    open_sites = tables.Column("Open sites", attrs={"td": {"class": "number"}, "th": {"class": "number"}})
    change = tables.Column("", empty_values=(), attrs=ACT)

    class Meta:
        orderable = False

    def render_change(self, record):
        return format_html(LINK, address("area_edit", record.pk), "Rename", record.name)


class PeopleTable(tables.Table):
    name = tables.Column(attrs=LEAD)
    email = tables.Column("E-mail")
    roles = tables.Column(empty_values=(), orderable=False)
    last_login = tables.Column(
        "Last signed in", default="never", attrs={"td": {"class": "spare"}, "th": {"class": "spare"}}
    )

    class Meta:
        orderable = False
        empty_text = "Nobody is in this list."

    def render_name(self, record):
        return format_html(PERSON, address("person_edit", record.pk), record.name)

    def render_roles(self, record):
        held = [(m.get_role_display().capitalize(), m.site or m.area) for m in record.memberships.all()]
        more = f" and {len(held) - 3} more" if len(held) > 3 else ""
        return format_html("{}{}", format_html_join("; ", "{}, {}", held[:3]), more)

    def render_last_login(self, value):
        return padded_day(value)
