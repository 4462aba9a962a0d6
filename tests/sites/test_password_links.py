"""One-time links to choose a password: what a supervisor is shown, what ends a link, and what its owner is told."""

import logging
import re
from datetime import timedelta
from urllib.parse import urlsplit

import pytest
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from compliance.notices.log_filters import SecretsHidden
from shared.audit.models import Entry
from sites import actions
from sites.models import PasswordLink, Person, Role
from sites.password_links import HOLDS, link_path, live_link
from tests.world import PASSWORD, make_person

NEW = "brisk-orchard-52"
CHOICE = {"new_password1": NEW, "new_password2": NEW}
LINK = re.compile(r"http://testserver(/new-password/\d+/[\w-]+/)")


@pytest.fixture
def make(world, as_person):
    """The address of a link that the supervisor makes for somebody; that of the cook by default."""

    def go(person=None, after=None):
        person = person or world.cook
        after = PasswordLink.objects.filter(person=person).count() and PasswordLink.objects.latest("pk").pk
        page = as_person(world.supervisor).post(reverse("person_password", args=[person.pk]), {"after": after})
        (path,) = LINK.findall(page.content.decode())
        return path

    return go


def sign_in(client, person, password):
    return client.post(reverse("sign_in"), {"username": person.email, "password": password})


def added(world):
    return {
        "name": "Ada Brook",
        "initials": "AB",
        "email": "ada@example.test",
        "place": f"site-{world.site.pk}",
        "role": Role.COOK.value,
    }


def test_whoever_was_handed_a_link_chooses_a_password_and_signs_in(make, world):
    device = Client()
    path = make()
    page = device.get(path).content.decode()
    assert "Col Esker" in page and world.cook.email in page and "Sol Venn" in page
    assert device.post(path, CHOICE).url == reverse("sign_in")
    assert sign_in(device, world.cook, NEW).status_code == 302
    assert sign_in(Client(), world.cook, PASSWORD).status_code == 200


def test_a_newcomer_gets_a_link_and_nobody_a_first_password(world, as_person):
    page = as_person(world.supervisor).post(reverse("person_add"), added(world))
    person = Person.objects.get(email="ada@example.test")
    (path,) = LINK.findall(page.content.decode())
    assert not person.has_usable_password() and 'name="password"' not in page.content.decode()
    assert Client().post(path, CHOICE).status_code == 302
    person.refresh_from_db()
    assert person.check_password(NEW)


@pytest.mark.parametrize("where", ["add", "again"])
def test_no_password_is_taken_from_a_supervisor(world, as_person, where):
    """Neither for a newcomer nor for somebody who has one."""
    client = as_person(world.supervisor)
    if where == "add":
        client.post(reverse("person_add"), {**added(world), "password": NEW})
    else:
        client.post(reverse("person_password", args=[world.cook.pk]), {"password": NEW, **CHOICE})
    assert not any(person.check_password(NEW) for person in Person.objects.all())


def test_a_link_holds_for_three_days_as_is_said(make, world, clock):
    path = make()
    shown = Client().get(path)
    assert shown.status_code == 200 and timedelta(days=3) == HOLDS
    clock.shift(HOLDS)
    assert Client().get(path).status_code == 200
    clock.shift(timedelta(seconds=1))
    assert Client().get(path).status_code == 404
    assert Client().post(path, CHOICE).status_code == 404


def test_it_is_said_until_when_a_link_holds(world, as_person, clock):
    page = as_person(world.supervisor).post(reverse("person_password", args=[world.cook.pk]), {"after": 0})
    assert "14 Mar 2026 12:00 GMT" in page.content.decode()


def test_looking_at_a_link_uses_nothing_up(make):
    """As programs do that show what is behind a link in a message."""
    path = make()
    for method in ("get", "head", "options"):
        getattr(Client(), method)(path)
    assert Client().post(path, CHOICE).status_code == 302


def test_a_link_works_once(make, world):
    path = make()
    Client().post(path, CHOICE)
    other = "silver-harbour-19"
    assert Client().post(path, {"new_password1": other, "new_password2": other}).status_code == 404
    world.cook.refresh_from_db()
    assert world.cook.check_password(NEW)


ENDS = {
    "a newer link": lambda w: actions.make_password_link(by=w.supervisor, person=w.cook),
    "another password": lambda w: actions.change_password(by=w.cook, password="silver-harbour-19"),
    "another e-mail": lambda w: actions.amend_person(
        by=w.supervisor, person=w.cook, changes={"email": "c@example.test"}
    ),
    "a stop": lambda w: actions.stop_person(by=w.supervisor, person=w.cook, reason="left"),
    "a stop and a restart": lambda w: [
        actions.stop_person(by=w.supervisor, person=w.cook, reason="left"),
        actions.restart_person(by=w.supervisor, person=w.cook),
    ],
}


@pytest.mark.parametrize("what", ENDS)
def test_a_link_is_ended_by(what, world):
    path = link_path(actions.make_password_link(by=world.supervisor, person=world.cook))
    ENDS[what](world)
    assert Client().get(path).status_code == Client().post(path, CHOICE).status_code == 404
    world.cook.refresh_from_db()
    assert not world.cook.check_password(NEW)


def test_signing_in_with_the_old_password_does_not_end_a_link(make, world):
    """Or whoever has come to know it could keep its owner from choosing another."""
    path = make()
    sign_in(Client(), world.cook, PASSWORD)
    assert Client().post(path, CHOICE).status_code == 302


def test_a_link_of_one_person_is_none_for_another(make, world):
    of_cook, of_reader = make(), make(world.reader)
    number, secret = of_cook.split("/")[2], of_reader.split("/")[3]
    assert Client().get(reverse("new_password", args=[number, secret])).status_code == 404
    assert Client().get(reverse("new_password", args=[10**30, secret])).status_code == 404
    assert Client().get(reverse("new_password", args=[number, "x"])).status_code == 404


def test_a_link_that_ends_while_its_page_is_open_sets_nothing(make, world):
    number, secret = make().split("/")[2:4]
    link = live_link(int(number), secret)
    actions.change_password(by=world.cook, password="silver-harbour-19")
    with pytest.raises(ValidationError, match="does not work any more"):
        actions.use_password_link(by=world.cook, link=link, token=secret, password=NEW)


def test_a_page_that_is_sent_again_asks_before_it_makes_another_link(world, as_person):
    client, url = as_person(world.supervisor), reverse("person_password", args=[world.cook.pk])
    first = LINK.findall(client.post(url, {"after": 0}).content.decode())[0]
    again = client.post(url, {"after": 0}, follow=True)
    page = again.content.decode()
    assert not LINK.findall(page) and "Sol Venn has made a link meanwhile" in page and "Make another link" in page
    assert Client().get(first).status_code == 200 and PasswordLink.objects.count() == 1
    asked = re.search(r'name="after" value="(\d+)"', page)[1]
    (second,) = LINK.findall(client.post(url, {"after": asked}).content.decode())
    assert (Client().get(first).status_code, Client().get(second).status_code) == (404, 200)


@pytest.mark.parametrize(
    "password, says", [("short", "too short"), ("col.esker12", "your own name"), ("x" * 12, "four")]
)
def test_a_password_that_will_not_do_is_refused_and_the_link_still_works(make, password, says):
    path = make()
    page = Client().post(path, {"new_password1": password, "new_password2": password})
    assert page.status_code == 200 and says in page.content.decode()
    assert Client().post(path, CHOICE).status_code == 302


def test_the_secret_of_a_link_stays_between_two_people(make, caplog):
    """No referrer, no cache, no search engine, no log, no session, no trail."""
    path = make()
    secret = path.split("/")[3]
    answer = Client().get(path)
    assert answer["Referrer-Policy"] == "no-referrer" and "no-store" in answer["Cache-Control"]
    assert answer["X-Robots-Tag"] == "noindex"
    kept = [str(session.get_decoded()) for session in Session.objects.all()]
    kept += [str(entry.data) for entry in Entry.objects.all()] + [
        str(link.__dict__) for link in PasswordLink.objects.all()
    ]
    assert kept and not any(secret in text for text in kept)
    record = logging.LogRecord("django.request", logging.WARNING, "", 0, "Not Found: %s", (path,), None)
    assert SecretsHidden().filter(record) and secret not in record.getMessage() and "…" in record.getMessage()


def test_the_page_that_shows_a_link_is_kept_nowhere(world, as_person):
    page = as_person(world.supervisor).post(reverse("person_password", args=[world.cook.pk]), {"after": 0})
    assert "no-store" in page["Cache-Control"]
    page = as_person(world.supervisor).post(reverse("person_add"), added(world))
    assert "no-store" in page["Cache-Control"]


def test_a_form_with_no_origin_is_taken_for_the_secret_proves_enough(make):
    """Where no referrer is sent, browsers say that the origin of a form is “null” (Fetch Standard, 3.2 “Origin header”)."""
    path = make()
    assert Client(enforce_csrf_checks=True).post(path, CHOICE, HTTP_ORIGIN="null").status_code == 302


def test_using_a_link_ends_the_other_sessions_and_signs_nobody_in(make, world):
    elsewhere, device = Client(), Client()
    elsewhere.force_login(world.cook)
    device.force_login(world.reader)
    device.post(make(), CHOICE)
    for client in (elsewhere, device):
        assert urlsplit(client.get(reverse("account")).url).path == reverse("sign_in")


def known() -> dict:
    """What the page that tells of links brings back: those that it showed."""
    return {"link": list(PasswordLink.objects.values_list("pk", flat=True))}


def test_the_owner_is_told_at_each_sign_in_until_they_say_so(make, world, clock):
    Client().post(make(), CHOICE)
    told = f"{reverse('account_password_told')}?next=%2Fsites%2F"
    for _ in range(2):
        client = Client()
        page = client.post(
            reverse("sign_in") + "?next=/sites/", {"username": world.cook.email, "password": NEW}, follow=True
        )
        assert page.redirect_chain[0][0] == told
        words = " ".join(page.content.decode().split())
        assert "Sol Venn made on" in words and "11 Mar 2026 12:00 GMT" in words
    assert client.post(told, known()).url == "/sites/"
    assert sign_in(Client(), world.cook, NEW).url == reverse("home")


def test_who_has_used_a_link_in_the_owners_place_cannot_keep_it_from_the_owner(make, world):
    """The first is used, and said to be known, by somebody else; then the owner is handed a second one."""
    thief, owner = Client(), Client()
    thief.post(make(), CHOICE)
    sign_in(thief, world.cook, NEW)
    thief.post(reverse("account_password_told"), known())
    other = "silver-harbour-19"
    owner.post(make(), {"new_password1": other, "new_password2": other})
    page = owner.post(
        reverse("sign_in"), {"username": world.cook.email, "password": other}, follow=True
    ).content.decode()
    assert page.count("by a link that Sol Venn made") == 2


def test_being_told_leads_nowhere_else(make, world):
    Client().post(make(), CHOICE)
    client = Client()
    sign_in(client, world.cook, NEW)
    told = reverse("account_password_told")
    assert client.post(f"{told}?next=//elsewhere.test/", known()).url == reverse("home")
    assert client.get(told, {"next": "-Infinity"}).url == "-Infinity"  # an address, and not the name of a page


def test_a_link_makes_the_device_known_that_it_is_used_on(make, world):
    device = Client()
    device.post(make(), CHOICE)
    sign_in(device, world.cook, NEW)
    assert Entry.objects.get(action="person.sign_in").data["known_device"]


def test_the_trail_tells_who_made_a_link_and_that_it_was_used(make, world):
    Client().post(make(), CHOICE)
    made, used = Entry.objects.get(action="person.password_link"), Entry.objects.get(action="person.password_by_link")
    assert (made.actor, made.subject) == ("Sol Venn", "Col Esker")
    assert (used.actor, used.data["made_by"], used.data["link"]) == ("Col Esker", "Sol Venn", made.data["link"])


def test_somebody_who_was_stopped_is_made_no_link(world, as_person):
    actions.stop_person(by=world.supervisor, person=world.cook, reason="left")
    page = as_person(world.supervisor).post(reverse("person_password", args=[world.cook.pk]), {"after": 0}, follow=True)
    assert "Let them sign in again first" in page.content.decode() and not PasswordLink.objects.exists()


def test_a_newcomer_who_came_too_late_gets_another_link_from_who_invited_them(world, as_person, clock):
    """Also a peer, who has never signed in; but not from another peer."""
    peer = {**added(world), "place": f"area-{world.area.pk}", "role": Role.SUPERVISOR.value}
    as_person(world.supervisor).post(reverse("person_add"), peer)
    person, other = (
        Person.objects.get(email="ada@example.test"),
        make_person("Una Reed", Role.SUPERVISOR, area=world.area),
    )
    url, given = reverse("person_password", args=[person.pk]), {"after": PasswordLink.objects.get().pk}
    assert as_person(other).post(url, given).status_code == 403
    assert LINK.findall(as_person(world.supervisor).post(url, given).content.decode())
    actions.change_password(by=person, password=NEW)
    assert as_person(world.supervisor).post(url, given).status_code == 403


def test_whoever_runs_the_machine_lets_a_supervisor_in_again(world, capsys):
    call_command("password_link", "SOL.venn@example.test")
    said = capsys.readouterr().out
    (path,) = re.findall(r"http://\S+?(/new-password/\S+)", said)
    assert "Sol Venn" in said and Client().post(path, CHOICE).status_code == 302
    page = Client().post(reverse("sign_in"), {"username": world.supervisor.email, "password": NEW}, follow=True)
    assert "a link that whoever runs Noughtbook made" in " ".join(page.content.decode().split())


def test_the_command_says_what_it_cannot_do(world):
    with pytest.raises(CommandError, match="Nobody signs in with x@example.test"):
        call_command("password_link", "x@example.test")
    Person.objects.filter(pk=world.cook.pk).update(is_active=False)
    with pytest.raises(CommandError, match="Let them sign in again first"):
        call_command("password_link", world.cook.email)


def test_a_link_cannot_be_worked_out_without_the_secret_key(world, settings):
    link = actions.make_password_link(by=world.supervisor, person=world.cook)
    path = link_path(link)
    settings.SECRET_KEY = "another-key-of-fifty-characters-and-then-some-more"
    assert link_path(link) != path
