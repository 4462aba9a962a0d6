"""The JSON Schema of the record as data. It is published beside this file; a test holds the two together."""

import json
from pathlib import Path

FILE = Path(__file__).with_name("record.schema.json")
FORM = "urn:noughtbook:record:2"
TEXT, DAY, MOMENT = {"type": "string"}, {"type": "string", "format": "date"}, {"type": "string", "format": "date-time"}
HEAD = {
    "type": ["object", "null"],
    "description": "The newest entry of the trail when this was made; manage.py verify_records --head takes its hash.",
    "properties": {
        "number": {"type": "integer"},
        "at": MOMENT,
        "hash": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
    },
    "required": ["number", "at", "hash"],
    "additionalProperties": False,
}
ABOUT = {
    "form": {"const": FORM},
    "notice": TEXT,
    "business": TEXT,
    "area": TEXT,
    "site": TEXT,
    "address": TEXT,
    "time_zone": TEXT,
    "first_day": DAY,
    "last_day": DAY,
    "printed_by": TEXT,
    "printed_at": MOMENT,
    "head": HEAD,
}


def schema_of(tables) -> dict:
    """Draft 2020-12."""
    properties = {**ABOUT, **{table.name: _rows(table) for table in tables}}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": FORM,
        "title": "Temperature and probe record of a site and a period",
        "description": "The same as the printed record. Times are on the clock of the site, with its offset.",
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _rows(table) -> dict:
    columns = {col.name: col.kind.value | ({"description": col.about} if col.about else {}) for col in table.columns}
    row = {"type": "object", "properties": columns, "required": list(columns), "additionalProperties": False}
    return {"type": "array", "description": table.about, "items": row}


def as_text(schema: dict) -> str:
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
