"""A file of the baker's own (TOML) as read: faults told with their line, and what is allowed."""

import math
import re
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from petitpied.domain.errors import OwnFileError, printable

_SHOWN = 60  # letters of the baker's own text repeated in a message


@dataclass(frozen=True)
class OwnFile:
    """A file's name (for messages), its text, and what stands in it."""

    name: str
    text: str
    content: dict[str, Any]

    @staticmethod
    def parsed(text: str, name: str) -> "OwnFile":
        """Read TOML 1.0.

        Raises
        ------
        OwnFileError
            If it is no TOML, with the line.
        """
        try:
            return OwnFile(name, text, tomllib.loads(text))
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            found = re.search(r"line (\d+)", str(error))
            line = int(found[1]) if found else max(1, len(text.splitlines()))
            why = re.sub(r"\s*\(at .*\)$", "", str(error)) or "too deeply nested"
            why = printable(why)[:120]
            raise OwnFileError(
                what=f"{name}, line {line}",
                why=f"this is not proper TOML ({why[:1].lower() + why[1:]})",
                next_step='write lines such as name = 1.5, words in "quotes", # before a remark',
            ) from None

    def fault(self, place: tuple[str, ...], why: str, allowed: str) -> OwnFileError:
        """The error for a place in the file, such as ("pass", "diameter_mm")."""
        what = f"{self.name}, line {self.line_of(place)}"
        return OwnFileError(what=what, why=why, next_step=f"allowed: {allowed}")

    def line_of(self, place: tuple[str, ...]) -> int:
        """Line (from 1) where the deepest part of a place that can be found is written."""
        lines = self.text.splitlines() or [""]
        best, depth, section = 1, 0, tuple[str, ...]()
        for number, line in enumerate(lines, 1):
            bare = line.split("#")[0].strip()
            header = re.fullmatch(r"\[\[?([^\]]+)\]\]?", bare)
            if header:
                section = _parts(header[1])
                here = section
            elif "=" in bare:
                here = section + _parts(bare.split("=")[0])
            else:
                continue
            shared = _shared(here, place)
            if shared == len(here) and shared > depth:
                best, depth = number, shared
        return best

    def only(self, table: Any, place: tuple[str, ...], names: Collection[str]) -> dict[str, Any]:
        """A table with none but these names.

        Raises
        ------
        OwnFileError
            If it is no table, or another name is in it.
        """
        if not isinstance(table, dict):
            where = place[-1] if place else "the file"
            raise self.fault(place, f"{where} must be a group of settings", ", ".join(names))
        for name in table:
            if name not in names:
                why = f"{quoted(name)} is not known here"
                raise self.fault((*place, name), why, ", ".join(names))
        return table

    def number(self, value: Any, place: tuple[str, ...], low: float, high: float) -> float:
        """A plain number from ``low`` to ``high``.

        Raises
        ------
        OwnFileError
            If it is something else.
        """
        allowed = f"a plain number from {low:g} to {high:g}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(place, f"{place[-1]} = {quoted(value)} is no plain number", allowed)
        if not math.isfinite(value) or not low <= value <= high:
            raise self.fault(place, f"{place[-1]} = {value:g} is out of range", allowed)
        return float(value)

    def whole(self, value: Any, place: tuple[str, ...], low: int, high: int) -> int:
        """A whole number from ``low`` to ``high``; otherwise as `number`."""
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            allowed = f"a whole number from {low} to {high}"
            raise self.fault(place, f"{place[-1]} = {quoted(value)} does not fit", allowed)
        return value

    def words(self, value: Any, place: tuple[str, ...], most: int) -> str:
        """A text of at most ``most`` letters, made printable; otherwise as `number`."""
        if not isinstance(value, str) or len(value) > most:
            why = f"{place[-1]} must be text of at most {most} letters"
            raise self.fault(place, why, f'{place[-1]} = "..."')
        return printable(value)


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _shared(a: tuple[str, ...], b: tuple[str, ...]) -> int:
    same = 0
    while same < min(len(a), len(b)) and a[same] == b[same]:
        same += 1
    return same


def quoted(value: Any) -> str:
    """The baker's own words in a message: short, printable."""
    text = value if isinstance(value, str) else repr(value)
    return f'"{printable(text)[:_SHOWN]}"'
