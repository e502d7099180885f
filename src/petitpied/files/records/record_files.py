"""Records on disk: bytes to write, and reading back with every check."""

import json
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from petitpied.domain.errors import RecordError
from petitpied.domain.record import Record
from petitpied.files.records import record_json
from petitpied.text.wording import printable

#: a record of 200 shells has about 4 MB
MAX_BYTES = 40_000_000


def schema_text() -> str:
    """The published JSON Schema (draft 2020-12) of an inspection record."""
    return files("petitpied.files.records").joinpath("inspection.schema.json").read_text("utf-8")


@cache
def _validator() -> Any:
    from jsonschema_rs import Draft202012Validator

    # what stands in the file may be long: its place is told, not the value
    return Draft202012Validator(json.loads(schema_text()), mask="what stands there")


def record_bytes(record: Record) -> bytes:
    """The record as JSON text, UTF-8, a line for each part and each shell.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    return ("{" + ",\n ".join(_lines(record_json.record_to_dict(record))) + "}\n").encode()


def _lines(data: dict[str, Any]) -> Iterator[str]:
    for key, value in data.items():
        if key == "shells" and value:
            yield '"shells": [\n  ' + ",\n  ".join(map(_compact, value)) + "\n ]"
        else:
            yield f"{json.dumps(key)}: {_compact(value)}"


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def read_record(path: Path) -> Record:
    """The record in a file; the file is untrusted.

    Raises
    ------
    RecordError
        If it cannot be read, is no JSON, holds a number that is not finite, or does not fit the
        schema.
    """
    return record_from_bytes(read_record_bytes(path), printable(path.name))


def read_record_bytes(path: Path) -> bytes:
    """A record's bytes, not yet checked.

    Raises
    ------
    RecordError
        If the file cannot be read, or is larger than a record can be.
    """
    name = printable(path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise _unreadable(name, f"it has more than {MAX_BYTES // 10**6} MB")
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(name, error.strerror or "the file cannot be read") from error


def record_from_bytes(data: bytes, name: str) -> Record:
    """As `read_record`, from the file's bytes; ``name`` is for the message."""
    try:
        parsed = json.loads(
            data, parse_float=_finite, parse_int=_bounded, parse_constant=_no_constant
        )
    except (ValueError, RecursionError) as error:
        why = f"it is not proper JSON ({printable(str(error))[:120]})"
        raise _unreadable(name, why) from None
    fault = next(iter(_validator().iter_errors(parsed)), None)
    if fault is not None:
        place = "/".join(map(str, fault.instance_path)) or "the whole file"
        message = printable(fault.message)[:160]
        raise _unreadable(name, f"{printable(place)[:80]} does not fit the schema: {message}")
    return record_json.record_from_dict(parsed)


def _finite(text: str) -> float:
    value = float(text)
    if abs(value) > 1e15:  # no length, pixel or angle; keeps later sums finite
        raise ValueError(f"number {text[:20]} is too large")
    return value


def _bounded(text: str) -> int:
    if len(text) > 15:
        raise ValueError(f"number {text[:20]} is too large")
    return int(text)


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no JSON number")


def _unreadable(name: str, why: str) -> RecordError:
    next_step = "inspect the photo again to make a new record"
    return RecordError(what=f"{name} cannot be read as a record", why=why, next_step=next_step)
