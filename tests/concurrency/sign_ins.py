"""Passwords that are tried, and links that are used and made, at the same moment."""

import time
from collections import Counter

from django.contrib.auth.hashers import MD5PasswordHasher
from django.test.client import Client, ClientHandler
from django.urls import reverse

from sites.actions import make_password_link
from sites.login_throttle import wrong_passwords
from sites.models import PasswordLink
from sites.password_links import link_path
from tests.concurrency import TRIES
from tests.world import make_person

HANDLER = ClientHandler(enforce_csrf_checks=False)
HANDLER.load_middleware()  # once, as a server does: each time it looks through all static files


def browser() -> Client:
    client = Client(SERVER_NAME="localhost")
    client.handler = HANDLER
    return client


class Slow(MD5PasswordHasher):
    """Takes its time as the real one does, so that others act meanwhile, and none of the processor's."""

    def encode(self, *given) -> str:
        time.sleep(0.2)
        return super().encode(*given)


def guess(email: str, told: list) -> None:
    given = {"username": email, "password": "a wrong one"}
    page = browser().post(reverse("sign_in"), given).content.decode()
    waits = "Too many wrong" in page or "Try again in a moment" in page
    told.append("wrong" if "do not belong together" in page else "wait" if waits else page)


def tries_at_once(world, at_once) -> dict:
    """Many passwords for one person who is there, and for one who is not."""
    found = {"wrong": []}
    for email in (world.cook.email, "nobody@example.test"):
        told = []
        found["wrong"] += at_once(*[lambda told=told, email=email: guess(email, told)] * TRIES)
        found[email] = [Counter(told), wrong_passwords(email)]
    return found


def choose(path: str, password: str, landed: list) -> None:
    given = {"new_password1": password, "new_password2": password}
    landed.append(browser().post(path, given).status_code)


def links_at_once(world, at_once) -> dict:
    """One link opened in four places, each with another password; then two supervisors who make one for the same person."""
    path, landed = link_path(make_password_link(by=world.supervisor, person=world.cook)), []
    words = [f"brisk-orchard-{number}" for number in range(52, 56)]
    wrong = at_once(*[lambda word=word: choose(path, word, landed) for word in words])
    world.cook.refresh_from_db()
    other = make_person("Una Reed", 40, area=world.area)
    told = at_once(
        *[lambda by=by: make_password_link(by=by, person=world.reader, after=0) for by in (world.supervisor, other)]
    )
    return {
        "wrong": wrong + [text for text in told if "has made a link meanwhile" not in text],
        "chosen": landed.count(302),
        "used": PasswordLink.objects.filter(used_at__isnull=False).count(),
        "one_of_them": sum(world.cook.check_password(word) for word in words),
        "made": PasswordLink.objects.filter(person=world.reader).count(),
        "refused": len(told),
    }
