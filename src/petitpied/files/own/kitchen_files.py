"""Where `kitchen.toml` lies: in the kitchen's folder or one above, else in the user's own."""

from collections.abc import Iterable
from pathlib import Path

from petitpied.evening.kitchen import Kitchen, parse_kitchen
from petitpied.files.own.own_file import read_own_file
from petitpied.files.own_folders import KITCHEN_NAME, kitchen_file

#: what the file is called in messages
KIND = "kitchen file"


def find_kitchen(starts: Iterable[Path] = ()) -> Path | None:
    """The first `kitchen.toml` from each folder upwards, in their order, then from the present
    folder upwards, then the user's own; None where there is none."""
    for start in (*starts, Path()):
        here = start.absolute()
        for folder in (here, *here.parents):
            if (folder / KITCHEN_NAME).is_file():
                return folder / KITCHEN_NAME
    own = kitchen_file()
    return own if own.is_file() else None


def read_kitchen(path: Path) -> Kitchen:
    """The kitchen in a file; parts that cannot be used stand in its ``wrong``.

    Raises
    ------
    OwnFileError
        If the file cannot be read, is no TOML, or is of a later version.
    """
    return parse_kitchen(read_own_file(path, KIND))


def sound_kitchen(path: Path) -> Kitchen:
    """As `read_kitchen`; a fault in any part is an error.

    Raises
    ------
    OwnFileError
        As `read_kitchen`, and for the first part that cannot be used.
    """
    kitchen = read_kitchen(path)
    for fault in kitchen.wrong:
        raise fault
    return kitchen
