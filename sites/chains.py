"""Which business an entry of the trail belongs to, and so in which chain it stands."""

from django.db.models import Model, Q

from shared.audit.models import Entry
from shared.prepared import Prepared, Slot

from .models import Area, Business, Membership, Person, Site

OF_SITE = Prepared(lambda: Area.objects.order_by().filter(sites=Slot("site")).values_list("business_id"))


def business_of(entry: Entry, subject: Model) -> int | None:
    """That of its site; of what it is about; or of whoever acted. None for what belongs to no business."""
    if entry.site_id:
        if found := _loaded(subject, entry.site_id):
            return found
        return next((business for (business,) in OF_SITE.rows(site=entry.site_id)), None)
    if entry.subject_type == Business._meta.label_lower:
        return entry.subject_id
    if entry.subject_type == Area._meta.label_lower:
        return Area.objects.order_by().filter(pk=entry.subject_id).values_list("business_id", flat=True).first()
    person = entry.subject_id if entry.subject_type == Person._meta.label_lower else entry.actor_id
    return _of_person(person) or (_of_person(entry.actor_id) if person != entry.actor_id else None)


def _loaded(subject: Model, site_id: int) -> int | None:
    """Without a query, where a record is at hand that names it: the probe, or the site with its area."""
    about = subject._state.fields_cache.get("reading", subject)
    near = about._state.fields_cache
    site = about if isinstance(about, Site) else near.get("site")
    area = site._state.fields_cache.get("area") if isinstance(site, Site) and site.pk == site_id else None
    return next(
        (each.business_id for each in (about, near.get("probe"), area) if getattr(each, "business_id", None)), None
    )


def _of_person(pk: int | None) -> int | None:
    held = Membership.objects.filter(Q(site__isnull=False) | Q(area__isnull=False), person=pk).order_by("pk")
    places = held.values_list("area__business_id", "site__area__business_id").first()
    return places and (places[0] or places[1])
