"""The trail: an action without an entry is rolled back, and so is an entry without its action."""

import pytest

from shared.append_only import WrittenOnce
from shared.audit import trail
from shared.audit.models import Entry
from shared.audit.trail import ForgottenEntry, note
from sites.models import Business


@pytest.fixture
def action(monkeypatch):
    """The decorator, with a registry of its own that is gone after the test."""
    monkeypatch.setattr(trail, "registry", {})
    return trail.action


def test_an_action_leaves_who_what_on_which_and_why(action, manager, site):
    @action("business.found")
    def found(*, by, name):
        business = Business.objects.create(name=name)
        note("business.found", by=by, subject=business, site_id=site.pk, reason="Because.", name=name)
        return business

    business = found(by=manager, name="New")
    entry = Entry.objects.get()
    assert (entry.actor_id, entry.actor, entry.action) == (manager.pk, manager.name, "business.found")
    assert (entry.subject_type, entry.subject_id, entry.subject) == ("sites.business", business.pk, "New")
    assert (entry.site_id, entry.reason, entry.data) == (site.pk, "Because.", {"name": "New"})


def test_an_action_that_forgets_its_entry_is_rolled_back(action, manager):
    @action("business.forget")
    def forget(*, by):
        Business.objects.create(name="Forgotten")

    with pytest.raises(ForgottenEntry):
        forget(by=manager)
    assert not Business.objects.filter(name="Forgotten").exists()


def test_an_action_that_fails_takes_its_entry_with_it(action, manager, business):
    @action("business.fail")
    def fail(*, by):
        note("business.fail", by=by, subject=business)
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        fail(by=manager)
    assert not Entry.objects.exists()


def test_an_inner_actions_entry_does_not_count_for_the_outer_one(action, manager, business):
    @action("business.inner")
    def inner(*, by):
        note("business.inner", by=by, subject=business)

    @action("business.outer")
    def outer(*, by):
        inner(by=by)

    with pytest.raises(ForgottenEntry, match="business.outer"):
        outer(by=manager)
    assert not Entry.objects.exists()


def test_note_belongs_inside_an_action(manager, business):
    with pytest.raises(RuntimeError, match="@action"):
        note("business.loose", by=manager, subject=business)


def test_the_system_itself_may_act(action, business):
    @action("business.sweep")
    def sweep(*, by):
        note("business.sweep", by=by, subject=business)

    sweep(by=None)
    assert (Entry.objects.get().actor_id, Entry.objects.get().actor) == (None, "Noughtbook")


@pytest.mark.parametrize("function", [lambda by: None, lambda *, name: None, lambda *names, by: None])
def test_an_action_takes_keywords_only_and_an_actor(action, function):
    with pytest.raises(TypeError, match="keywords only"):
        action("business.bad")(function)


def test_two_actions_may_not_share_a_name(action):
    action("business.once")(lambda *, by: None)
    with pytest.raises(TypeError, match="Two actions"):
        action("business.once")(lambda *, by: None)


def test_an_entry_is_never_changed_or_deleted(action, manager, business):
    @action("business.note")
    def write(*, by):
        return note("business.note", by=by, subject=business)

    entry = write(by=manager)
    for attempt in (entry.save, entry.delete, Entry.objects.all().delete, lambda: Entry.objects.update(actor="x")):
        with pytest.raises(WrittenOnce):
            attempt()
