"""TOML files that the baker writes: read with a bound, faults told with their line."""

import re
import tomllib
from pathlib import Path
from typing import Any

from petitpied.domain.errors import OwnFileError
from petitpied.text.wording import printable

#: a recipe or letterhead has one or two thousand bytes
MAX_BYTES = 200_000


def read_own_toml(path: Path, kind: str) -> tuple[str, dict[str, Any]]:
    """Text and content of a file; ``kind`` names it for the message ("recipe").

    Raises
    ------
    OwnFileError
        If it is missing, too large, no UTF-8 or no TOML.
    """
    name = printable(path.name)[:80]
    try:
        if path.stat().st_size > MAX_BYTES:
            why = f"it has more than {MAX_BYTES // 1000} kB"
            raise _unreadable(kind, name, why, f"check that this is the {kind}")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise _unreadable(kind, name, "it is no UTF-8 text", "save it as UTF-8") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "the name is no file name"
        raise _unreadable(
            kind, name, why[:1].lower() + why[1:], f"check the {kind}'s name and folder"
        ) from None
    try:
        return text, tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        why = f"it is no proper TOML ({printable(str(error))[:120]})"
        raise _unreadable(kind, name, why, "mend that line, or start from the starter") from None


def line_of(text: str, key: str) -> str:
    """Where a key or section stands, as in ", line 7"; empty where it is not found."""
    name = re.escape(key)
    pattern = re.compile(rf"^\s*(\[\s*{name}\s*\]|[\"']?{name}[\"']?\s*=)", re.MULTILINE)
    found = pattern.search(text)
    return "" if found is None else f", line {text.count(chr(10), 0, found.start(1)) + 1}"


def _unreadable(kind: str, name: str, why: str, next_step: str) -> OwnFileError:
    return OwnFileError(what=f"{kind} {name} cannot be read", why=why, next_step=next_step)
