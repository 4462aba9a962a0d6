"""Mark-up in whatever people type, and a reader that finds what of it came through as mark-up."""

import csv
import io
from html.parser import HTMLParser

from django.apps import apps
from django.contrib.messages import get_messages
from django.db import connection, models
from django.db.models import F, TextField, Value
from django.db.models.functions import Cast, Concat
from django.http import HttpResponseBase
from django.test import Client
from django.urls import resolve, reverse
from django.utils.safestring import SafeData

from tests.readings.files import HEADER
from tests.rows import fill
from tests.undone import undone

# The longest that a field takes is put into it. Each ends a value in double or single quotes, opens an element of a name that no
# page of ours has, and has braces that a format string or a template would fill.
PAYLOADS = (
    "\"'><zqx zqx=1 hx-get=/zqx hx-trigger=load><img src=x onerror=zqx()><script>zqx()</script>{0}{zqx}{{ zqx }}%(zqx)s",
    "\"'><zqx zqx=1 hx-get=/zqx hx-trigger=load>{0}{{ zqx }}",
    "\"'><zqx a=1>{0}",
    '"<zq>',
)
SIGN = "<zq"  # of a payload, where it is text
# What a row that is merely filled has no sense in.
SHAPED = {"hours": [["07:00", "18:00"]] * 7, "times": ["08:00"], "outcome": "undecided"}
# Goes on as it was: by it people are told apart.
CALLED = {"sites.person.name", "sites.personname.name", "sites.personname.former_name"}
LONGEST_NAME = 20  # of the stock people
NUMBER = 6  # characters for what tells rows apart
# Texts that no person types, or that a form takes only as a number, a code or one of several words.
NOT_TYPED = {
    "audit.entry.action",
    "audit.entry.subject_type",
    "audit.entry.previous",
    "audit.entry.hash",
    "audit.hashedcolumns.code",
    "audit.hashedcolumns.table",
    "sites.site.time_zone",
    "sites.site.country",
    "sites.site.subdivision",
    "sites.sitesettings.time_zone",
    "sites.sitesettings.country",
    "sites.sitesettings.subdivision",
    "sites.person.password",
    "sites.passwordtries.account",
    "sites.passwordtries.place",
    "limits.ruleset.code",
    "limits.rule.code",
    "limits.limit.code",
    "checks.check.decision_rule",
    "checks.timedreading.typed",
    "checks.timedreading.unit",
    "checks.span.cause",
    "checks.span.anchor",
    "readings.import.digest",
    "readings.reading.key",
    "readings.reading.typed",
    "quarantine.decision.case",
    "quarantine.decision.outcome",
    "quarantine.decision.good_standing",
    "quarantine.decision.sensor",
    "quarantine.signature.case",
    "service.taskrun.name",
    "notices.notice.about",
    "notices.notice.html",
    "notices.notice.link",
    "notices.notice.holder",
    "notices.feedkey.digest",
}


def payload(room: int | None) -> str:
    """The longest that fits."""
    return next((each for each in PAYLOADS if room is None or len(each) <= room), PAYLOADS[-1][:room])


def typed_fields(model: type[models.Model]) -> list[models.Field]:
    """The texts of a model that people type. A new one counts as typed unless it is named above."""
    texts = [
        f for f in model._meta.concrete_fields if isinstance(f, models.CharField | models.TextField) and not f.choices
    ]
    return [f for f in texts if f"{model._meta.label_lower}.{f.name}" not in NOT_TYPED]


def spoil(world) -> None:
    """Put mark-up into each such text of each record, and have a record of every model that has one.

    Facts are guarded; the guards go for the transaction of the test alone.
    """
    ours = [model for model in apps.get_models() if typed_fields(model) and not model.__module__.startswith("django.")]
    for model in ours:
        if not model._default_manager.exists():
            fill(model, world)
    connection.check_constraints()
    for model in ours:
        _unguard(model._meta.db_table)
    for model in ours:
        shaped = {
            name: value for name, value in SHAPED.items() if name in {f.name for f in model._meta.concrete_fields}
        }
        models.QuerySet(model).update(**shaped, **{field.name: _spoilt(field) for field in typed_fields(model)})


def _unguard(table: str) -> None:
    triggers, drop = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", "DROP TRIGGER {}"
    if connection.vendor == "postgresql":
        triggers = "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal"
        drop = f"DROP TRIGGER {{}} ON {table}"
    with connection.cursor() as cursor:
        cursor.execute(triggers, [table])
        for (name,) in cursor.fetchall():
            cursor.execute(drop.format(name))


def _spoilt(field: models.Field):
    if isinstance(field, models.EmailField):
        return _numbered('"<zqx hx-get=/zqx>', '"@example.test')  # RFC 5321, 4.1.2: a quoted local part
    if field.max_length and field.max_length <= NUMBER:
        return payload(field.max_length)
    if f"{field.model._meta.label_lower}.{field.name}" in CALLED:
        after = Value(payload(field.max_length - LONGEST_NAME), TextField())
        return Concat(F(field.name), after, output_field=TextField())
    return _numbered(payload(field.max_length and field.max_length - NUMBER))


def _numbered(before: str, after: str = ""):
    """With the number of the row in it, since some texts must differ."""
    parts = Value(before, TextField()), Cast(F("pk"), TextField()), Value(after, TextField())
    return Concat(*parts, output_field=TextField())


def spoilt_file() -> bytes:
    """One good row whose words are mark-up, and rows of which one cell each is mark-up where a name or number is wanted."""
    good = {
        "site": "Alder School",
        "probe": "P1",
        "limit": "cold-holding",
        "item": PAYLOADS[1],
        "value": "4.0",
        "unit": "C",
        "taken_at": "2026-01-05T08:00+00:00",
        "note": PAYLOADS[0],
    }
    held = io.StringIO()
    writer = csv.DictWriter(held, HEADER.split(","))
    writer.writeheader()
    writer.writerows(
        [good, *({**good, name: PAYLOADS[1]} for name in HEADER.split(",") if name not in ("item", "note"))]
    )
    return held.getvalue().encode()


class Reader(HTMLParser):
    """What a browser would make of a page: what came of typed text, what HTMX would act on, and the forms."""

    def __init__(self, seal: str = ""):
        super().__init__()
        self.seal, self.strange, self.forms, self.inside = seal, [], [], False

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if tag.startswith("zq") or any(name.startswith(("zq", "on")) for name in told):
            self.strange.append(self.get_starttag_text()[:200])
        if tag == "script" and not told.get("src", "").startswith("/static/"):
            self.strange.append(self.get_starttag_text()[:200])
        if (
            any(name.startswith("hx-") and name != "hx-swap-oob" for name in told)
            and told.get("data-seal") != self.seal
        ):
            self.strange.append(self.get_starttag_text()[:200])
        self.inside = tag == "form" or self.inside
        if "hx-post" in told and not self.inside:
            self.strange.append("a post without a form")
        if tag == "form":
            self.forms.append((told.get("method", "get"), told.get("action", ""), []))
        elif tag in {"input", "textarea", "select", "option", "button"} and self.forms:
            self.forms[-1][2].append((tag, told))

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "form"


def strange_in(page: str, seal: str = "") -> list[str]:
    """The mark-up that came of typed text, and text that was escaped twice, so that people read the escapes."""
    reader = Reader(seal)
    reader.feed(page)
    reader.close()
    sent = [[told.get("name") for _, told in controls] for method, _, controls in reader.forms if method == "post"]
    reader.strange += ["a form without its token" for names in sent if "csrfmiddlewaretoken" not in names]
    return reader.strange + ["escaped twice"] * ("&amp;lt;zq" in page or "&amp;quot;" in page)


def posts_of(page: str) -> list[tuple[str, dict[str, list[str]]]]:
    """Where each form of a page sends what, with mark-up in all that one types, and once more in its words alone."""
    reader = Reader()
    reader.feed(page)
    forms = [(action, controls) for method, action, controls in reader.forms if method == "post"]
    return [(action, _filled(controls, everywhere)) for action, controls in forms for everywhere in (True, False)]


def _filled(controls: list[tuple[str, dict]], everywhere: bool) -> dict[str, list[str]]:
    sent, select = {}, None
    for tag, told in controls:
        name, kind, value = told.get("name"), told.get("type", "text"), told.get("value") or ""
        if tag == "select":
            select = name
        elif tag == "option" and value and (select not in sent or "selected" in told):
            sent[select] = [value]
        elif name and (tag == "textarea" or (tag == "input" and kind in {"text", "email", "search", "password"})):
            words = tag == "textarea" or (kind in {"text", "search"} and "inputmode" not in told and not value)
            room = told.get("maxlength")
            sent[name] = [payload(int(room) if room else None) if words or everywhere else value or "4"]
        elif name and kind in {"checkbox", "radio"}:
            if "checked" in told or name not in sent:
                sent[name] = [value or "on"]
        elif name and kind != "file":
            sent.setdefault(name, [value])
    return sent


def form_of(path: str, typed: dict[str, list[str]]) -> tuple:
    """Where it is sent, and what with, but for what is another each time, and for which mark-up is typed."""
    once = ("csrfmiddlewaretoken", "key")
    return path, *(
        (name, SIGN if SIGN in values[0] else tuple(values)) for name, values in typed.items() if name not in once
    )


def forms_on(pages) -> dict[tuple, tuple]:
    """A page, where its form is sent, and what with. One that stands on several pages once."""
    found = {}
    for page in pages:
        for action, typed in posts_of(page.html):
            path = action or page.path
            if path != reverse("sign_out"):
                found.setdefault(form_of(path, typed), (page, path, typed))
    return found


def opened(client: Client, method: str, path: str, *sent) -> tuple[HttpResponseBase, str]:
    answer = getattr(client, method)(path, *sent)
    content = b"".join(answer) if answer.streaming else answer.content
    assert answer.status_code < 500, f"{method} {path}: {answer.status_code}"
    return answer, content.decode(errors="replace")


def shown_to(client: Client, path: str, typed: dict, shown: set[str]) -> str:
    """What a form leads to in the end. Where several lead on to one page, it is shown to the first of them, if all that it is to
    say to the others is text: it may say that to them in the same way. What was written is taken back."""
    with undone():
        answer, page = opened(client, "post", path, typed)
        while answer.status_code == 302:
            path, said = answer["Location"], get_messages(answer.wsgi_request)
            name = resolve(path.partition("?")[0].partition("#")[0]).url_name
            if name in shown and not any(isinstance(each.message, SafeData) for each in said._queued_messages):
                return ""
            shown.add(name)
            answer, page = opened(client, "get", path)
    return page
