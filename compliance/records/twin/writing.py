"""Writes the record as data: one JSON, its schema, and a CSV file a table; row by row, so that memory does not grow."""

import csv
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import BinaryIO, TextIO

from compliance.readings.importing.cells import guarded
from shared.time_text import on_clock

from ..scope import RecordScope
from .cases import CASE_READINGS, CASE_STRUCK, CASES, DECISIONS, SIGNATURES
from .days import CLOSED, CLOSURES, HOURS, PLANS, REVIEWED_DAYS, REVIEWS
from .due import APPLIANCES, EXCUSES, NOT_IN_TIME, OUT_OF_USE, PLANNED
from .probes import AWAY, CHECKS, EVENTS, INTERVALS, PLACEMENTS, PROBES, TIMED
from .readings import ACTS, DEVIATIONS, IMPORTS, READINGS
from .schema import FILE, FORM
from .site import CHANGES, LIMITS, NAMES, STRUCK_OUT, TRAIL
from .table import DataTable

OF_FOOD = (READINGS, IMPORTS, DEVIATIONS, ACTS, CASES, CASE_READINGS, CASE_STRUCK, DECISIONS, SIGNATURES)
OF_PROBES = (PROBES, PLACEMENTS, AWAY, CHECKS, TIMED, EVENTS, INTERVALS)
OF_DAYS = (
    REVIEWED_DAYS,
    REVIEWS,
    PLANNED,
    NOT_IN_TIME,
    EXCUSES,
    APPLIANCES,
    OUT_OF_USE,
    HOURS,
    CLOSURES,
    CLOSED,
    PLANS,
)
TABLES = (*OF_FOOD, *OF_PROBES, *OF_DAYS, LIMITS, STRUCK_OUT, CHANGES, TRAIL, NAMES)  # names: of all those before
NOTICE = "This record supports the HACCP plan, the local code and the competent authority; it replaces none of them."
BYTE_ORDER_MARK = "\ufeff"  # for spreadsheets


@contextmanager
def twin_of(scope: RecordScope) -> Iterator[list[Path]]:
    """The files, in a folder that is gone afterwards."""
    with TemporaryDirectory(prefix="record-") as folder:
        yield _written(scope, Path(folder))


def zip_twin(out: BinaryIO, scope: RecordScope) -> None:
    with twin_of(scope) as files, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in files:
            archive.write(file, file.name)


def _written(scope: RecordScope, folder: Path) -> list[Path]:
    scope.people.told.clear()
    whole, schema = folder / "record.json", folder / FILE.name
    schema.write_text(FILE.read_text(encoding="utf-8"), encoding="utf-8")
    sheets = [folder / f"{table.name}.csv" for table in TABLES]
    with whole.open("w", encoding="utf-8") as out:
        about = _dumped(_about(scope), scope)
        out.write(about.removesuffix("}"))
        for table, sheet in zip(TABLES, sheets, strict=True):
            with sheet.open("w", encoding="utf-8", newline="") as cells:
                _write_table(table, scope, out, cells)
        out.write("}\n")
    return [whole, schema, *sheets]


def _about(scope: RecordScope) -> dict:
    entry = scope.head
    return {
        "form": FORM,
        "notice": NOTICE,
        "business": scope.business.name,
        "area": scope.area.name,
        "site": scope.site.name,
        "address": scope.site.address,
        "time_zone": scope.site.time_zone,
        "first_day": scope.first.isoformat(),
        "last_day": scope.last.isoformat(),
        "printed_by": scope.printed_by,
        "printed_at": scope.now,
        "head": entry and {"number": entry.number, "at": entry.at, "hash": entry.hash},
    }


def _write_table(table: DataTable, scope: RecordScope, out: TextIO, cells: TextIO) -> None:
    names, sheet = [col.name for col in table.columns], csv.writer(cells)
    cells.write(BYTE_ORDER_MARK)
    sheet.writerow(names)
    out.write(f",\n{json.dumps(table.name)}: [")
    between = "\n"
    for row in table.rows(scope):
        out.write(between + _dumped(dict(zip(names, row, strict=True)), scope))
        sheet.writerow([_cell(value, scope) for value in row])
        between = ",\n"
    out.write("]")


def _dumped(value: dict, scope: RecordScope) -> str:
    return json.dumps(value, ensure_ascii=False, default=lambda at: _moment(at, scope))


def _moment(at: datetime, scope: RecordScope) -> str:
    return on_clock(at, scope.zone).isoformat()


def _cell(value, scope: RecordScope):
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, datetime):
        return _moment(value, scope)
    return json.dumps(value, ensure_ascii=False) if isinstance(value, bool | dict | list) else value
