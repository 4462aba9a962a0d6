"""The first dated settings, for the migrations that write them: what a row says now, and each change that the trail tells of,
read backwards. This is the only place that reads settings from the trail."""

from collections import defaultdict
from collections.abc import Callable, Iterator

from django.db.models import Min
from django.utils import timezone

BATCH = 500


class Trail:
    """The entries about the rows of one model: who brought each into the book and when, and every change with old and new."""

    def __init__(self, apps, alias: str, subject: str, added: str, amended: str):
        entries = apps.get_model("audit", "Entry").objects.using(alias)
        self.people = set(apps.get_model("sites", "Person").objects.using(alias).values_list("pk", flat=True))
        self.added, self.changes, self.now = {}, defaultdict(list), timezone.now()
        of_them = entries.filter(subject_type=subject, action__in=(added, amended))
        for entry in of_them.order_by("at", "pk").iterator(chunk_size=2000):
            if entry.action == amended:
                self.changes[entry.subject_id].append(entry)
            else:
                self.added.setdefault(entry.subject_id, entry)
        about_sites = entries.filter(site_id__isnull=False).values_list("site_id").annotate(Min("at"))
        self.first_about_site = dict(about_sites.order_by()) if subject == "sites.site" else {}

    def facts(self, pk: int, present: dict, read: Callable[[str, str], object]) -> list[dict]:
        """The columns of each fact of a row, the first first. `read` gives the value that the trail tells of a field as text."""
        found, values = [], present
        for entry in reversed(self.changes[pk]):
            told = {name: old for name, (old, _) in entry.data.get("changes", {}).items()}
            before = values | {column: value for name, old in told.items() for column, value in read(name, old)}
            if before != values:
                found.append({**values, "recorded_at": entry.at, "recorded_by_id": self._by(entry), "reason": entry.reason})
                values = before
        return [self._first(pk, values), *reversed(found)]

    def _first(self, pk: int, values: dict) -> dict:
        added = self.added.get(pk)
        known = [added.at] if added else [each.at for each in self.changes[pk][:1]]
        begun = min([*known, *filter(None, [self.first_about_site.get(pk)])], default=self.now)
        return {**values, "recorded_at": begun, "recorded_by_id": added and self._by(added), "reason": ""}

    def _by(self, entry) -> int | None:
        return entry.actor_id if entry.actor_id in self.people else None


def reader(model, columns) -> Callable[[str, str], Iterator[tuple[str, object]]]:
    """Reads values as `str` has written them, and leaves out what is no column of these."""

    def read(name: str, text: str):
        if name in columns:
            field = model._meta.get_field(name)
            yield name, None if field.null and text == "None" else field.to_python(text)

    return read


def write(model, fact, owner: str, rows: Iterator[tuple[int, list[dict]]], columns, alias: str) -> None:
    """The facts of each row, and in the row itself those that are over. `rows` gives keys with columns of facts."""
    facts, changed = [], []
    for pk, told in rows:
        facts += [fact(**{f"{owner}_id": pk}, **each) for each in told]
        if len(told) > 1:
            changed.append(model(pk=pk, former=[_former(*pair, columns) for pair in zip(told, told[1:], strict=False)]))
    fact.objects.using(alias).bulk_create(facts, batch_size=BATCH)
    model.objects.using(alias).bulk_update(changed, ["former"], batch_size=BATCH)


def _former(before: dict, after: dict, columns) -> dict:
    return {"until": after["recorded_at"].isoformat(), **{name: before[name] for name in columns}}
