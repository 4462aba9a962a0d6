"""The page on which a check at zero is made without network: all of it at once, sent when the network is back."""

from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from compliance.metrology.settling import LONGEST_SERIES
from compliance.probes.access import get_probe
from shared.cautions import caution
from shared.kept_pages import keep
from shared.unit_text import in_unit
from shared.units import Unit, show_spread
from sites.models import Role

from .. import drafts
from ..forms import STAGES
from ..kinds import USUAL
from ..kinds.steps import Task
from ..models import NoFigure
from ..whole import LONGEST_MS

GUIDANCE = USUAL.guidance


@require_safe
def whole(request, pk):
    probe = get_probe(request.user, pk, Role.COOK)
    unit = probe.site.unit
    context = {
        "probe": probe,
        "site": probe.site,
        "words": GUIDANCE.words,
        "ways": [_way(way, number == 0, unit) for number, way in enumerate(GUIDANCE.before)],
        "stages": STAGES,
        "stage": drafts.likely_stage(probe),
        "units": Unit.choices,
        "unit": unit,
        "allowed": show_spread(probe.tolerance_milli, unit, 1),
        "no_figures": NoFigure.choices,
        "longest_ms": LONGEST_MS,
        "most": LONGEST_SERIES,
        "back_url": reverse("probe_detail", args=[pk]),
    }
    return keep(render(request, "checks/whole.html", context), request.path)


def _way(way, first: bool, unit: str) -> dict:
    before, inside = GUIDANCE.before[way], GUIDANCE.inside[way]
    keys = dict.fromkeys(key for task in (*before, *inside) for key in task.cautions)
    return {
        "value": way.value,
        "label": GUIDANCE.ways[way],
        "first": first,
        "before": [_step(task, unit) for task in before],
        "inside": [_step(task, unit) for task in inside],
        "cautions": [caution(key) for key in keys],
    }


def _step(task: Task, unit: str) -> dict:
    return {"point": task.point, "title": task.title, "how": in_unit(task.how, unit)}
