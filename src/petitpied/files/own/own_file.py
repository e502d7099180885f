"""The baker's own TOML files from disk: bounded, and every fault one sentence."""

from pathlib import Path

from petitpied.domain.errors import OwnFileError
from petitpied.domain.own_file import OwnFile
from petitpied.files.outside_files import Kind, Refused, read_outside
from petitpied.files.shown_paths import shown_path


def read_own_file(path: Path, kind: str) -> OwnFile:
    """A file; ``kind`` names it for the message ("recipe").

    Raises
    ------
    OwnFileError
        If it is missing, too large, no UTF-8 or no TOML.
    """
    name = shown_path(path)[-120:]

    def unreadable(why: str, next_step: str) -> OwnFileError:
        return OwnFileError(what=f"{kind} {name} cannot be read", why=why, next_step=next_step)

    try:
        text = read_outside(path, Kind.BAKERS_OWN).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise unreadable("it is no UTF-8 text", "save it as UTF-8") from None
    except Refused as refused:
        next_step = f"check that this is the {kind}, its name and folder"
        raise unreadable(str(refused), next_step) from None
    return OwnFile.parsed(text, f"{kind} {name}")
