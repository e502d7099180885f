"""The baker's own TOML files from disk: bounded, and every fault one sentence."""

from pathlib import Path

from petitpied.domain.errors import OwnFileError, printable
from petitpied.domain.own_file import OwnFile

#: a recipe or letterhead has one or two thousand bytes
MAX_BYTES = 200_000


def read_own_file(path: Path, kind: str) -> OwnFile:
    """A file; ``kind`` names it for the message ("recipe").

    Raises
    ------
    OwnFileError
        If it is missing, too large, no UTF-8 or no TOML.
    """
    name = printable(str(path))[-120:]

    def unreadable(why: str, next_step: str) -> OwnFileError:
        return OwnFileError(what=f"{kind} {name} cannot be read", why=why, next_step=next_step)

    try:
        if path.stat().st_size > MAX_BYTES:
            why = f"it has more than {MAX_BYTES // 1000} kB"
            raise unreadable(why, f"check that this is the {kind}")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise unreadable("it is no UTF-8 text", "save it as UTF-8") from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "the name is no file name"
        next_step = f"check the {kind}'s name and folder"
        raise unreadable(why[:1].lower() + why[1:], next_step) from None
    return OwnFile.parsed(text, f"{kind} {name}")
