"""A book of when the trail alone told of settings, brought up to date, and what it says of each time."""

from datetime import UTC, datetime, timedelta

from compliance.probes.models import Probe
from shared.dated import former_of
from sites.models import Business, Site
from tests.old_states import made_at, models_at

BEFORE = [("sites", "0009_first_names"), ("probes", "0002_written_once"), ("audit", "0002_written_once")]
AFTER = [("sites", "0014_former_review_days"), ("probes", "0004_first_particulars")]
NOON = datetime(2026, 1, 14, 12, tzinfo=UTC)
WHY = "As its maker says."


def write_trail(model, person: int) -> None:
    """Entries of a site that was changed twice, a business once, and a probe twice; one probe has none."""
    business = model("sites", "Business").objects.create(name="Larkfield Kitchens", decision_rule="guarded")
    _, south = (model("sites", "Area").objects.create(business=business, name=name) for name in ("North", "South"))
    site = model("sites", "Site").objects.create(
        area=south, name="Alder Annexe", time_zone="Europe/Dublin", closed=True
    )
    told = {"business": business, "site": site}
    probe = model("probes", "Probe").objects.create(**told, code="P3", tolerance_milli=1500, time_constant_s=2.5)
    model("probes", "Probe").objects.create(**told, code="Q1")
    rows = [
        (business, "business.amend", 3, {"decision_rule": ["non_binary", "guarded"]}, None),
        (site, "site.add", 1, None, site.pk),
        (
            site,
            "site.amend",
            2,
            {"name": ["Alder School", "Alder Annexe"], "area": ["North", "South"], "paper": ["A4", "Letter"]},
            site.pk,
        ),
        (
            site,
            "site.amend",
            4,
            {"time_zone": ["Europe/London", "Europe/Dublin"], "closed": ["False", "True"]},
            site.pk,
        ),
        (site, "site.amend", 5, {}, site.pk),
        (probe, "probe.register", 2, None, site.pk),
        (probe, "probe.amend", 3, {"code": ["P1", "P2"], "limits": [["soup"], []]}, site.pk),
        (
            probe,
            "probe.amend",
            6,
            {"code": ["P2", "P3"], "tolerance_milli": ["1000", "1500"], "time_constant_s": ["None", "2.5"]},
            site.pk,
        ),
    ]
    for row, action, day, changes, place in rows:
        model("audit", "Entry").objects.create(
            action=action,
            subject_type=row._meta.label_lower,
            subject_id=row.pk,
            subject="x",
            actor="x",
            actor_id=person,
            site_id=place,
            at=NOON + timedelta(days=day),
            reason=WHY if changes else "",
            data={} if changes is None else {"changes": changes},
        )


def said() -> dict:
    """What the book says now, read with the code of now."""
    told = {}
    for row in [*Site.objects.all(), *Business.objects.all(), *Probe.objects.order_by("code")]:
        facts = list(row.settings_facts.order_by("pk"))
        told[str(row)] = {
            "is_recorded": row.is_recorded(),
            "former": row.former == former_of(facts, row.dated),
            "facts": [[(each.recorded_at - NOON).days, each.recorded_by_id, each.reason] for each in facts],
            "then": [
                [str(getattr(row.as_of(NOON + timedelta(days=day, hours=1)), name)) for day in (0, 2, 4, 6)]
                for name in row.dated[:4]
            ],
        }
    site = Site.objects.get()
    told["known"] = [
        [site.as_known_at(NOON + timedelta(days=day)).area.name, site.as_known_at(NOON + timedelta(days=day)).closed]
        for day in (0, 3, 5)
    ]
    return told


def brought_up_to_date() -> dict:
    model = made_at(BEFORE)
    person = model("sites", "Person").objects.create(email="mara@kitchen.example", name="Mara Holt")
    write_trail(model, person.pk)
    models_at(AFTER)
    return said()
