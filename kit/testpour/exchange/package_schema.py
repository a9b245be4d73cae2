"""What an open Data Package of a log declares: its tables, their columns with units, its licence.

It follows the Data Package standard, version 2.0 (datapackage.org): Package, Resource and Table Schema.
"""

import hashlib
import re
from dataclasses import MISSING, dataclass
from dataclasses import fields as parts_of
from typing import Any

import sqlalchemy as sa

from testpour.logbook.castings import Castings
from testpour.logbook.known import HOW
from testpour.logbook.photos import FOLDER
from testpour.logbook.sheet_cells import escape_cell
from testpour.logbook.tables import TABLES
from testpour.study.columns import Factor, Reading
from testpour.study.study import Aim, Study

FORM = 1  # of the package; a reader refuses one it does not know
DESCRIPTOR = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0"
LICENCES = {
    "CC0-1.0": ("Creative Commons CC0 1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
    "CC-BY-4.0": ("Creative Commons Attribution 4.0", "https://creativecommons.org/licenses/by/4.0/"),
    "CC-BY-SA-4.0": ("Creative Commons Attribution Share-Alike 4.0", "https://creativecommons.org/licenses/by-sa/4.0/"),
    "ODC-BY-1.0": ("Open Data Commons Attribution 1.0", "https://opendatacommons.org/licenses/by/1-0/"),
    "ODbL-1.0": ("Open Data Commons Open Database 1.0", "https://opendatacommons.org/licenses/odbl/1-0/"),
    "PDDL-1.0": ("Open Data Commons Public Domain 1.0", "https://opendatacommons.org/licenses/pddl/1-0/"),
}
QUOTED = "In text, a leading quote keeps a spreadsheet from taking the cell for a formula; testpour removes it when it reads."
HISTORY = {f"history-{table.name}": table for table in TABLES}
PICTURE = re.compile(rf"{FOLDER}/([0-9a-f]{{64}})\.(jpg|png)")


@dataclass(frozen=True)
class Table:
    """One table of a package."""

    name: str
    title: str
    fields: tuple[dict[str, Any], ...]  # its columns in order, as Table Schema describes them
    more: dict[str, Any]  # the rest of the schema: primary and foreign keys

    @property
    def path(self) -> str:
        """Name of its file in the package."""
        return f"{self.name}.csv"

    def resource(self, data: bytes) -> dict[str, Any]:
        """Its entry in the descriptor, with the checksum of its bytes."""
        return {
            "name": self.name, "title": self.title, "path": self.path, "type": "table",
            "$schema": f"{PROFILE}/dataresource.json", "format": "csv", "mediatype": "text/csv", "encoding": "utf-8",
            "bytes": len(data), "hash": checksum(data),
            "schema": {"$schema": f"{PROFILE}/tableschema.json", "fields": list(self.fields), "missingValues": [""],
                       **self.more},
        }


def checksum(data: bytes) -> str:
    """SHA-256 of bytes, as the standard writes it."""
    return f"sha256:{hashlib.sha256(data).hexdigest()}"


def picture(path: str, data: bytes) -> dict[str, Any]:
    """The entry of a photograph in the descriptor."""
    stem, _, ending = path.rpartition("/")[2].rpartition(".")
    kind = {"jpg": "jpeg"}.get(ending, ending)
    return {
        "name": f"photo-{stem[:16]}", "path": path, "$schema": f"{PROFILE}/dataresource.json", "format": ending,
        "mediatype": f"image/{kind}", "bytes": len(data), "hash": checksum(data),
    }


def tables(study: Study, names: bool, history: bool) -> dict[str, Table]:
    """The tables of a package of a study, by name; initials and notes with `names`, all rows with `history`."""
    found = [_pours(study, names), _readings(study, names)]
    if history:
        found += [_history_table(name, table) for name, table in HISTORY.items()]
    return declarations() | {table.name: table for table in found}


def declarations() -> dict[str, Table]:
    """The tables that hold the study itself, by name."""
    return {
        "declared-factors": _declaration_table("declared-factors", "Factors of the study, as declared", Factor),
        "declared-readings": _declaration_table("declared-readings", "Readings of the study, as declared", Reading),
        "aims": _declaration_table("aims", "What a good casting must meet", Aim),
    }


def descriptor(study: Study, castings: Castings, licence: str, resources: list[dict[str, Any]], names: bool) -> dict[str, Any]:
    """The whole `datapackage.json`, without its time."""
    title, path = LICENCES[licence]
    return {
        "$schema": f"{PROFILE}/datapackage.json",
        "name": re.sub(r"[^a-z0-9]+", "-", study.name.casefold()).strip("-") or "study",
        "title": study.name,
        "description": f"{study.question} {castings.sentence()} {QUOTED}".strip(),
        "licenses": [{"name": licence, "title": title, "path": path}],
        "testpour": {
            "form": FORM, "fingerprint": castings.fingerprint(), "names": names,
            "question": study.question, "resin": dict(study.resin), "ready": dict(study.ready), "one_of": dict(study.one_of),
        },
        "resources": resources,
    }


def _field(name, kind, title="", **more):
    return {"name": name, "type": kind, **({"title": title} if title else {}), **{k: v for k, v in more.items() if v}}


def _people(names):
    return [_field("by", "string", "initials"), _field("note", "string", "note")] if names else []


def _pours(study, names):
    """One row for each pour that counts."""
    fields = [
        _field("pour", "string", "name of the pour", constraints={"required": True, "unique": True}),
        _field("session", "string", "day in one room"),
        _field("made_at", "datetime", "when the catalyst went in, on the workshop's clock; blank where the day is not known"),
        *map(_factor, study.factors), *_people(names),
    ]
    return Table("pours", "Pours and their settings", tuple(fields), {"primaryKey": ["pour"]})


def _factor(factor):
    if factor.kind == "yes/no":
        more = {"type": "boolean", "trueValues": ["yes"], "falseValues": ["no"]}
    elif factor.kind == "text":
        more = {"type": "string"}
    else:
        ends = {"minimum": factor.low, "maximum": factor.high}
        more = {"type": "number", "constraints": {k: v for k, v in ends.items() if abs(v) != float("inf")}}
    return _field(factor.name, more.pop("type"), factor.words, unit=factor.unit, description=factor.how, **more)


def _readings(study, names):
    """One row for each reading that counts; an end that is not known is blank."""
    fields = [
        _field("entry", "integer", "number of the row in the log", constraints={"required": True, "unique": True}),
        _field("pour", "string", "name of the pour", constraints={"required": True}),
        _field("reading", "string", "what was read", constraints={"enum": [escape_cell(r.name) for r in study.readings]}),
        _field("low", "number", "lower end", description="blank where open; the same as high where exact"),
        _field("high", "number", "upper end", description="blank where open"),
        _field("unit", "string", "unit of low and high"),
        _field("age", "number", "time after mixing", unit="h", description="blank where the reading has no age"),
        _field("specimen", "string", "place or piece"),
        _field("known", "string", "how it is known", constraints={"enum": list(HOW)}),
        *_people(names),
    ]
    key = {"fields": ["pour"], "reference": {"resource": "pours", "fields": ["pour"]}}
    return Table("readings", "Readings", tuple(fields), {"primaryKey": ["entry"], "foreignKeys": [key]})


TITLES = {
    "name": "name of the column", "unit": "unit of its values", "low": "smallest plausible value",
    "high": "largest plausible value", "words": "name as it reads in a sentence", "how": "how it is measured",
    "standard": "by which standard", "source": "where the figures come from",
    "role": "chosen (by the person), met (in the room) or carried (by a lot)", "kind": "number, yes/no or text",
    "usual": "value used when none is given", "span": "from and to, between which pours are planned",
    "by_session": "whether all pours of a session share it", "step": "finest step worth setting",
    "scale": "how the reading scatters", "grades": "what each grade means, from grade 0 up",
    "better": "lower, higher, or inside a window", "ages": "hours after mixing at which it is read",
    "resolution": "step of the instrument", "reading": "the reading the aim is for",
    "at_least": "lower bound, in the reading's unit", "at_most": "upper bound, in the reading's unit",
    "age": "hours after mixing",
}
KINDS = {str: "string", float: "number", bool: "boolean", tuple: "array", type(None): "number"}


def _declaration_table(name, title, kind):
    """A table of declarations: one row each, one column for each part."""
    fields = []
    for part in parts_of(kind):
        form = "string" if part.default is MISSING else KINDS[type(part.default)]
        fields.append(_field(part.name, form, TITLES[part.name]))
    return Table(name, title, tuple(fields), {"primaryKey": [fields[0]["name"]]})


def _history_table(name, table):
    """A table of the log with every row it ever held, corrections and withdrawals too."""
    fields = tuple(_field(column.name, _field_type(column.type)) for column in table.columns)
    title = f"Every row of {table.name} ever logged; logged_at is UTC, supersedes names the row replaced"
    return Table(name, title, fields, {"primaryKey": [column.name for column in table.primary_key]})


def _field_type(type_):
    kinds = {sa.Boolean: "boolean", sa.Integer: "integer", sa.Double: "number", sa.DateTime: "datetime"}
    return next((word for kind, word in kinds.items() if isinstance(type_, kind)), "string")
