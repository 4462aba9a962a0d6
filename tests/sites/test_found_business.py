"""The command that founds a business."""

import io

import pytest
from django.core.management import CommandError, call_command

from sites.access import areas_of
from sites.models import Business, Person

GIVEN = ["--business", "Larkfield Kitchens", "--area", "North", "--name", "Sol Venn", "--email", "Sol@example.test"]


def found(monkeypatch, *options, password="quiet-lantern-47"):
    monkeypatch.setattr("sys.stdin", io.StringIO(password + "\n"))
    out = io.StringIO()
    call_command("found_business", *options, stdout=out)
    return out.getvalue()


def test_it_founds_a_business_with_its_supervisor(db, monkeypatch):
    told = found(monkeypatch, *GIVEN, "--password-stdin")
    person = Person.objects.get()
    assert "Sol Venn supervises North and signs in as sol@example.test" in told
    assert person.check_password("quiet-lantern-47") and person.initials == "SV"
    assert [a.name for a in areas_of(person)] == ["North"]


@pytest.mark.parametrize(
    "options, complaint",
    [
        ([*GIVEN, "--no-input"], "--password-stdin"),
        ([*GIVEN[:-2], "--password-stdin"], "--email"),
        (["--no-input"], "--business"),
    ],
)
def test_it_says_what_is_left_out_and_has_no_default_password(db, monkeypatch, options, complaint):
    with pytest.raises(CommandError, match=complaint):
        found(monkeypatch, *options)
    assert not Business.objects.exists()


@pytest.mark.parametrize("password", ["", "short", "password123", "sol.venn12", "sol@example", " " * 12])
def test_a_weak_password_founds_nothing(db, monkeypatch, password):
    with pytest.raises(CommandError, match="Nothing was written"):
        found(monkeypatch, *GIVEN, "--password-stdin", password=password)
    assert not Business.objects.exists()


def test_a_taken_email_founds_nothing(world, monkeypatch):
    with pytest.raises(CommandError, match="Nothing was written"):
        found(monkeypatch, *GIVEN[:-1], "sol.venn@example.test", "--password-stdin")
    assert Business.objects.count() == 2


def test_it_asks_for_what_is_left_out(db, monkeypatch):
    answers = iter(["Larkfield Kitchens", "", "North", "Sol Venn", "sol@example.test"])
    secrets = iter(["quiet-lantern-47", "mistyped", "quiet-lantern-47", "quiet-lantern-47"])
    monkeypatch.setattr("builtins.input", lambda words: next(answers))
    monkeypatch.setattr("getpass.getpass", lambda words: next(secrets))
    call_command("found_business", stdout=io.StringIO(), stderr=io.StringIO())
    assert Person.objects.get().check_password("quiet-lantern-47")
