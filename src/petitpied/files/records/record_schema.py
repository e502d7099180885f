"""The published JSON Schema of a record: the file beside this one, and the register's measures."""

import json
from importlib.resources import files
from typing import Any

from petitpied.domain.measures import MEASURES

Json = dict[str, Any]

#: the field of a shell that its measures follow
_BEFORE = "cap_outline_px"


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of an inspection record."""
    text = files("petitpied.files.records").joinpath("inspection.schema.json").read_text("utf-8")
    schema = json.loads(text)
    shell: Json = schema["$defs"]["shell"]
    shell["properties"] = _with_measures(shell["properties"])
    place = shell["required"].index(_BEFORE) + 1
    shell["required"][place:place] = [m.field for m in MEASURES if m.in_all_records]
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _with_measures(properties: Json) -> Json:
    """The shell's properties with a quantity, or null, for each measure."""
    or_null = [{"$ref": "#/$defs/quantity"}, {"type": "null"}]
    result: Json = {}
    for name, value in properties.items():
        result[name] = value
        if name == _BEFORE:
            result |= {m.field: {"description": m.definition, "anyOf": or_null} for m in MEASURES}
    return result
