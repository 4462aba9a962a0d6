"""One ice bath with several probes, finished from many hands at the same moment."""

from contextlib import suppress
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from compliance.checks import drafts, shared_bath, unfinished
from compliance.checks.kinds.zero import ICE
from compliance.checks.models import Check, CheckDraft, TimedReading
from compliance.metrology.bath import BathKind
from tests.concurrency import BATHS, IN_BATH, ROUNDS, SHOWN
from tests.concurrency.sign_ins import browser
from tests.world import make_probe


def prepared(person, probes, put_in_at) -> list[CheckDraft]:
    """A bath that is made, with every probe settled in it."""
    begun = shared_bath.begin(person, probes, BathKind.PACKED_CRUSHED, put_in_at - timedelta(minutes=2))
    for each in begun:
        drafts.mark(each, [task.point for task in ICE.before[BathKind.PACKED_CRUSHED]], "done", put_in_at)
        drafts.insert(each, put_in_at)
        drafts.mark(each, [task.point for task in ICE.inside[BathKind.PACKED_CRUSHED]], "done", put_in_at)
        for number, shown in enumerate(SHOWN):
            drafts.read(each, shown, number, put_in_at + timedelta(seconds=20 + 10 * number))
    return begun


def finish(person, draft: CheckDraft, landed: list) -> None:
    """The tap on the last button, as a browser sends it."""
    client = browser()
    client.force_login(person)
    told = {"stage": "as_found", "note": "", "immersion_mm": "", "key": str(draft.key)}
    landed.append(client.post(reverse("zero_check_finish", args=[draft.probe_id]), told).status_code)


def one_bath_finished_twice(world, at_once) -> dict:
    """A cook with two phones on one bath taps every probe's last button twice; a manager has the same probes in a bath too."""
    probes = [make_probe(world.site, f"BATH{n}", by=world.manager, limits=[world.limit]) for n in range(IN_BATH)]
    began, wrong, landed, keys = timezone.now() - timedelta(days=1), [], [], set()
    for n in range(BATHS):
        put_in_at = began + timedelta(hours=n)
        both = [(by, each) for by in (world.cook, world.manager) for each in prepared(by, probes, put_in_at)]
        keys |= {each.key for _, each in both}
        taps = [(by, each) for by, each in both for _ in range(2)]
        wrong += at_once(*[lambda by=by, each=each: finish(by, each, landed) for by, each in taps])
    checks = Check.objects.filter(probe__in=probes)
    return {
        "wrong": wrong,
        "landed": sorted(set(landed)),
        "taps": len(landed),
        "checks": checks.count(),
        "keys": len(keys & set(checks.values_list("key", flat=True))),
        "in_tolerance": checks.filter(verdict="in_tolerance").count(),
        "readings": TimedReading.objects.filter(check_record__in=checks).count(),
        "drafts": CheckDraft.objects.count(),
    }


def left_and_finished(world, at_once) -> dict:
    """A check left with a number beyond the tolerance: finished, given up, kept by two sweeps and typed on at one moment."""
    probe = make_probe(world.site, "LEFT", by=world.manager)
    wrong, typed = [], []
    for _ in range(ROUNDS):
        put_in_at = timezone.now() - timedelta(hours=1)
        draft = drafts.begin(world.cook, probe, ICE.usual, "as_found", put_in_at)
        drafts.insert(draft, put_in_at)
        for seconds in (95, 105):
            drafts.read(draft, "4.0", -1, put_in_at + timedelta(seconds=seconds))
        CheckDraft.objects.update(tapped_at=put_in_at)
        key, later = str(draft.key), timezone.now()
        wrong += at_once(
            lambda draft=draft: _unless_refused(lambda: drafts.finish(draft, world.cook)),
            lambda later=later: unfinished.store_left(later),
            lambda later=later: unfinished.store_left(later),
            lambda key=key: _unless_refused(lambda: unfinished.give_up(by=world.cook, probe=probe, key=key)),
            lambda draft=draft, at=put_in_at + timedelta(seconds=115): _unless_refused(
                lambda: typed.append(drafts.read(draft, "4.1", -1, at))
            ),
        )
    return {
        "wrong": wrong,
        "checks": Check.objects.filter(probe=probe).count(),
        "drafts": CheckDraft.objects.count(),
        "numbers": TimedReading.objects.filter(check_record__probe=probe).count(),
        "typed": 2 * ROUNDS + len(typed),
    }


def _unless_refused(act) -> None:
    with suppress(ValidationError):  # another was first
        act()
