"""What somebody is called: changed from above, with a reason, and kept with its day."""

import importlib
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection
from django.urls import reverse
from django.utils import timezone

from shared.audit.models import Entry
from sites import actions
from sites.data import NewPerson
from sites.models import Person, PersonName, Role
from sites.names import Name, name_at
from tests.world import make_person

NEW = {"name": "Col Vale", "initials": "CV", "reason": "Married."}


@pytest.fixture
def head(world):
    """Supervises both areas of the business."""
    person = make_person("Ida Moss", Role.SUPERVISOR, area=world.area)
    actions.grant(by=None, person=person, role=Role.SUPERVISOR, area=world.far_area)
    return person


def rename(as_person, by, person, **given):
    return as_person(by).post(reverse("person_name", args=[person.pk]), {**NEW, **given})


def names(person):
    return list(person.names.values_list("former_name", "name", "initials", "reason", "recorded_by"))


def test_a_name_changed_from_above_is_a_fact_and_in_the_trail(world, as_person):
    assert rename(as_person, world.supervisor, world.cook).status_code == 302
    world.cook.refresh_from_db()
    assert (world.cook.name, world.cook.initials) == ("Col Vale", "CV")
    assert names(world.cook) == [("Col Esker", "Col Vale", "CV", "Married.", world.supervisor.pk)]
    entry = Entry.objects.get(action="person.rename")
    assert (entry.actor, entry.reason) == ("Sol Venn", "Married.")
    assert entry.data["changes"] == {"name": ["Col Esker", "Col Vale"], "initials": ["CE", "CV"]}
    page = as_person(world.supervisor).get(reverse("person_edit", args=[world.cook.pk])).content.decode()
    assert "Col Esker (CE)" in page and "changed by Sol Venn: Married." in page


@pytest.mark.parametrize("who", ["cook", "reader", "manager", "supervisor"])
def test_nobody_with_somebody_above_changes_their_own_name(who, world, as_person):
    person = getattr(world, who)
    assert rename(as_person, person, person).status_code == 403
    as_person(person).post(reverse("account"), NEW)
    with pytest.raises(ValidationError, match="nobody changes their own"):
        actions.rename_person(by=person, person=person, **NEW)
    page = as_person(person).get(reverse("account")).content.decode()
    assert "a supervisor who ranks above you changes it" in page and 'name="name"' not in page
    person.refresh_from_db()
    assert person.name != "Col Vale" and not PersonName.objects.exists()


def test_a_peer_and_who_ranks_above_keep_their_names(world, head, as_person):
    peer = make_person("Una Reed", Role.SUPERVISOR, area=world.area)
    for person in (peer, head):
        assert rename(as_person, world.supervisor, person).status_code == 403
        assert "Change the name" not in str(as_person(world.supervisor).get(reverse("person_edit", args=[person.pk])))
        with pytest.raises(ValidationError, match="ranks above"):
            actions.rename_person(by=world.supervisor, person=person, **NEW)
    assert rename(as_person, world.rival, world.cook).status_code == 404


def test_the_head_of_a_business_has_nobody_above_and_is_noted_like_any_other(world, head, as_person):
    assert reverse("person_name", args=[head.pk]) in as_person(head).get(reverse("account")).content.decode()
    rename(as_person, head, head, name="Ida Fell")
    assert names(head) == [("Ida Moss", "Ida Fell", "CV", "Married.", head.pk)]
    assert Entry.objects.get(action="person.rename").reason == "Married."
    assert "changed by Ida Moss: Married." in as_person(head).get(reverse("account")).content.decode()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"reason": " "}, "This field is required"),
        ({"name": "Col Esker", "initials": "CE"}, "Col Esker (CE) is the name already"),
        ({"name": ""}, "This field is required"),
        ({"initials": "CVCVCVC"}, "at most 6 characters"),
    ],
)
def test_a_change_that_is_refused_says_what_to_do_and_keeps_what_was_typed(wrong, words, world, as_person):
    page = rename(as_person, world.supervisor, world.cook, **wrong).content.decode()
    assert words in page and ("Married." in page or "reason" in wrong)
    assert not PersonName.objects.exists() and Person.objects.get(pk=world.cook.pk).name == "Col Esker"


def test_whoever_is_added_has_a_first_name(world):
    added = {"email": "ada@example.test", "name": "Ada Brook", "initials": "AB"}
    person = actions.add_person(by=world.supervisor, data=NewPerson(**added), role=Role.COOK, site=world.site)
    assert names(person) == [("", "Ada Brook", "AB", "", world.supervisor.pk)]


def test_a_page_opened_earlier_brings_no_former_name_back(world):
    opened = Person.objects.get(pk=world.cook.pk)
    actions.rename_person(by=world.supervisor, person=world.cook, **NEW)
    actions.amend_person(by=world.supervisor, person=opened, changes={"email": "col@example.test"})
    assert Person.objects.get(pk=world.cook.pk).name == "Col Vale"


def test_of_two_changes_made_at_once_the_second_goes_by_the_first(world):
    opened = Person.objects.get(pk=world.cook.pk)
    actions.rename_person(by=world.supervisor, person=world.cook, **NEW)
    actions.rename_person(by=world.supervisor, person=opened, **{**NEW, "name": "Col Hart"})
    assert list(world.cook.names.values_list("former_name", "name")) == [
        ("Col Esker", "Col Vale"),
        ("Col Vale", "Col Hart"),
    ]


NOW = timezone.now()
CHANGES = [
    PersonName(
        recorded_at=NOW - timedelta(days=days), name=name, initials=name[0], former_name=former, former_initials="X"
    )
    for days, name, former in ((20, "B", "A"), (10, "C", "B"))
]


@pytest.mark.parametrize(("days", "name"), [(30, "A"), (20, "A"), (19.999, "B"), (10, "B"), (9.999, "C"), (0, "C")])
def test_each_moment_has_its_name_and_the_moment_of_a_change_the_old_one(days, name):
    assert str(name_at(Name("C", "C"), CHANGES, NOW - timedelta(days=days))) == name


def test_before_the_first_name_that_is_known_it_is_that_one():
    first = PersonName(recorded_at=NOW, name="A", initials="A")
    assert name_at(Name("B", "B"), [first], NOW - timedelta(days=1)) == Name("A", "A")
    assert name_at(Name("B", "B"), [], NOW) == Name("B", "B")


def amended(by, person, at, **changes):
    told = {"action": "person.amend", "subject_type": "sites.person", "subject_id": person.pk, "subject": "x"}
    Entry.objects.create(**told, actor_id=by.pk, actor=str(by), at=at, data={"changes": changes})


def test_the_migration_gives_everybody_the_names_that_the_trail_tells_of(world):
    at = timezone.now() - timedelta(days=9)
    amended(world.cook, world.cook, at, name=["Col Ash", "Col Birch"], initials=["CA", "CB"])
    amended(world.manager, world.cook, at + timedelta(days=1), email=["a@example.test", "b@example.test"])
    amended(world.cook, world.cook, at + timedelta(days=2), name=["Col Birch", "Col Esker"])
    Person.objects.filter(pk=world.cook.pk).update(initials="CB")
    importlib.import_module("sites.migrations.0009_first_names").write_names(
        apps, SimpleNamespace(connection=connection)
    )
    assert list(world.cook.names.values_list("former_name", "former_initials", "name", "initials")) == [
        ("", "", "Col Ash", "CA"),
        ("Col Ash", "CA", "Col Birch", "CB"),
        ("Col Birch", "CB", "Col Esker", "CB"),
    ]
    borne = [str(world.cook.name_at(at + timedelta(days=days))) for days in (-5, 1, 3)]
    assert borne == ["Col Ash", "Col Birch", "Col Esker"]
    assert names(world.manager) == [("", "Mara Holt", "MH", "", None)]
    assert set(PersonName.objects.values_list("person", flat=True)) == set(Person.objects.values_list("pk", flat=True))
