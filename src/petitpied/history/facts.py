"""What the baker says of a bake: checked, from options, a table, a small TOML or the last bake."""

import csv
import io
import unicodedata
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from petitpied.domain.bake import BakeFacts
from petitpied.domain.errors import HistoryError, ReadingError
from petitpied.domain.own_file import quoted
from petitpied.files.own.own_file import read_own_file
from petitpied.history import fact_numbers as numbers
from petitpied.text.wording import printable

#: facts as given: field of `BakeFacts` to its value, checked; what was not given is absent
Given = Mapping[str, Any]
#: name to field and check
Checks = dict[str, tuple[str, Callable[[Any], Any]]]

TOML_NAME = "bake.toml"
#: column of an archive's table: the record whose tray this further photo shows
SAME_TRAY = "same_tray_as"
MAX_BYTES = 10_000_000  # a table of ten thousand bakes has about 1 MB
MAX_TEXT = 200
MAX_NOTE = 2_000
#: facts that stay the same from bake to bake; a rest time or a humidity is measured each time
LASTING = ("oven", "rack", "set_temperature_c", "fan", "liner", "flavour")


def _turn(value: Any) -> int:
    number = float(value)
    if number not in (0.0, 180.0):
        raise ValueError("must be 0 or 180")
    return int(number)


def _fan(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    words = {"yes": True, "on": True, "true": True, "1": True}
    words |= {"no": False, "off": False, "false": False, "0": False}
    word = str(value).strip().lower()
    if word not in words:
        raise ValueError("must be yes or no")
    return words[word]


def as_kept(text: str) -> str:
    """A name as the history keeps it: no spaces around, accents composed (Unicode NFC)."""
    return unicodedata.normalize("NFC", text).strip()


def _text(longest: int) -> Callable[[Any], str]:
    def parse(value: Any) -> str:
        text = as_kept(str(value))
        if text.startswith("'") and text[1:2] in ("=", "+", "-", "@"):
            text = text[1:]  # our own tables guard such a text so
        if not text:
            raise ValueError("is empty")
        if len(text) > longest:
            raise ValueError(f"has more than {longest} characters")
        if any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in text):
            raise ValueError("has a character that cannot be shown")
        return text

    return parse


def moment(value: Any) -> datetime:
    """A time with its offset; without one, the machine's own time zone is meant.

    Raises
    ------
    ValueError
        If it is no time, or not of our days.
    """
    try:
        read = value if isinstance(value, datetime) else datetime.fromisoformat(str(value).strip())
    except ValueError:
        raise ValueError("must look like 2026-03-08T09:15") from None
    if not 1990 <= read.year <= 2200:
        raise ValueError("must lie between 1990 and 2200")
    return read if read.tzinfo is not None else read.astimezone()


#: name in tables, TOML and options, without unit, to field and check
_FACTS: Checks = {
    "oven": ("oven", _text(MAX_TEXT)),
    "rack": ("rack", _text(MAX_TEXT)),
    "turn": ("turn_deg", _turn),
    "at": ("baked_at", moment),
    "set_temperature": ("set_temperature_c", numbers.celsius),
    "fan": ("fan", _fan),
    "liner": ("liner", _text(MAX_TEXT)),
    "rest_minutes": ("rest_minutes", numbers.minutes),
    "humidity": ("humidity_rel", numbers.humidity),
    "flavour": ("flavour", _text(MAX_TEXT)),
    "batch": ("batch", _text(MAX_TEXT)),
    "note": ("note", _text(MAX_NOTE)),
}
NAMES = tuple(_FACTS)
FACTS = 'facts such as oven = "Deck 1", turn = 180, fan = true, rest_minutes = 40'
FIELDS = {name: field for name, (field, _) in _FACTS.items()}
_OWN: Checks = {
    "set_temperature": ("set_temperature_c", numbers.kept_celsius),
    "rest_minutes": ("rest_minutes", numbers.kept_minutes),
    "humidity": ("humidity_rel", numbers.kept_humidity),
}
#: the fields' own names are understood too
_BY_NAME = _FACTS | {field: (field, check) for field, check in _FACTS.values()}


def given(raw: Mapping[str, Any], place: str, *, own: bool = False) -> dict[str, Any]:
    """Check raw values by name; None and empty text count as not given. ``own``: as the history
    wrote them itself, so that no number is asked about.

    Raises
    ------
    HistoryError
        If a name is unknown or a value is no such fact; ``place`` says where it stood.
    """

    def fault(name: str, why: str) -> HistoryError:
        what = f"{place}: {printable(name)[:60]} cannot be used"
        return HistoryError(what=what, why=why, next_step="correct it and log again")

    return _checked(raw, fault, _OWN if own else {})


def _checked(
    raw: Mapping[str, Any], fault: Callable[[str, str], ReadingError], own: Checks
) -> dict[str, Any]:
    result = {}
    for name, value in raw.items():
        if value is None or (isinstance(value, str) and not value.strip()):
            continue
        if name not in _BY_NAME:
            raise fault(str(name), f"there is no such fact; there are {', '.join(NAMES)}")
        field, check = own.get(name) or _BY_NAME[name]
        try:
            result[field] = check(value)
        except (ValueError, TypeError, OverflowError) as error:
            said = str(error)
            why = said if said.startswith(("must", "is", "has")) else "must be a number"
            raise fault(name, f"{printable(str(value))[:60]!r} {why}") from None
    return result


def beside(folder: Path, *names: str) -> dict[str, Any]:
    """Facts of the small TOML in a folder of photos or records; none where there is none.

    Its top-level facts hold for all photos of the folder; a table named as a photo or record
    (with or without its ending; one of ``names``) adds to them for that one.

    Raises
    ------
    OwnFileError
        If the file cannot be read or holds what is no fact: with the line.
    """
    path = folder / TOML_NAME
    if not path.exists():
        return {}
    file = read_own_file(path, "facts file")

    def checked(raw: Mapping[str, Any], *table: str) -> dict[str, Any]:
        def fault(name: str, why: str) -> ReadingError:
            return file.fault((*table, name), f"{quoted(name)}: {why}", FACTS)

        return _checked(raw, fault, {})

    tables = {name: value for name, value in file.content.items() if isinstance(value, dict)}
    result = checked({n: v for n, v in file.content.items() if n not in tables})
    for name, table in tables.items():
        own = checked(table, name)
        if {name, Path(name).stem} & {*names, *(Path(n).stem for n in names)}:
            result |= own
    return result


def from_table(path: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Records and their facts from a CSV (comma, semicolon or tab; UTF-8), a row a bake.

    A record's path counts from the table's folder, or else from the present one.

    Raises
    ------
    HistoryError
        If the file cannot be read, or any of its facts is none: then none is logged.
    """
    place = printable(path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise _file_fault(place, "it is too large")
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise _file_fault(place, why) from None
    rows = table_rows(text, place)
    result = []
    for line, row in enumerate(rows, start=2):
        name = (row.pop("record", "") or "").strip()
        row.pop(SAME_TRAY, None)  # of an archive's table: photos of one tray are found anyway
        if not name:
            raise _file_fault(f"{place}, line {line}", "the column record is empty or missing")
        near = path.parent / name
        result.append((near if near.exists() else Path(name), given(row, f"{place}, line {line}")))
    return result


def table_rows(text: str, place: str) -> list[dict[str, str]]:
    """Rows of a CSV by column name; empty lines are passed over.

    Raises
    ------
    HistoryError
        If there is no header, or a row is longer than it.
    """
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    try:
        lines = [r for r in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter) if r]
    except csv.Error as error:
        raise _file_fault(place, f"it is no table ({printable(str(error))[:80]})") from None
    if len(lines) < 2:
        raise _file_fault(place, "it needs a line of column names and a line for each bake")
    header = [name.strip().lower() for name in lines[0]]
    if len(set(header)) < len(header):
        raise _file_fault(place, "two columns have the same name")
    for number, line in enumerate(lines[1:], start=2):
        if len(line) > len(header):
            raise _file_fault(f"{place}, line {number}", "it has more cells than the header")
    return [dict(zip(header, line, strict=False)) for line in lines[1:]]


def _file_fault(place: str, why: str) -> HistoryError:
    return HistoryError(
        what=f"{place} cannot be used", why=why, next_step="correct it and log again"
    )


def bake_facts(photo_sha256: str, found: Given, name: str) -> BakeFacts:
    """Facts joined to a bake.

    Raises
    ------
    HistoryError
        If the oven is missing.
    """
    if "oven" not in found:
        raise HistoryError(
            what=f"{name} cannot be logged",
            why="it is not known in which oven it was baked",
            next_step=f"give --oven NAME, or write oven = \"NAME\" into a file {TOML_NAME} "
            "beside the photo, or take the last bake's facts with --like-last",
        )  # fmt: skip
    return BakeFacts(photo_sha256=photo_sha256, **found)


def known_facts(facts: BakeFacts) -> dict[str, Any]:
    """The facts that a bake has, by field."""
    fields = (field for field, _ in _FACTS.values())
    values = {field: getattr(facts, field) for field in fields}
    return {field: value for field, value in values.items() if value is not None}


def in_future(at: datetime, now: datetime) -> bool:
    """More than a day ahead: a clock was wrong, or a typing error."""
    return (at.astimezone(UTC) - now.astimezone(UTC)).total_seconds() > 86_400
