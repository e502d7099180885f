"""The baker's flavours: the colour that each should have, kept in a small TOML file."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from petitpied.domain.errors import LotError, OwnFileError
from petitpied.domain.own_file import OwnFile, quoted
from petitpied.domain.record import Record
from petitpied.domain.surface import Reference
from petitpied.files.output_files import prepare_folder, write_all
from petitpied.files.own.own_file import read_own_file
from petitpied.files.own_folders import flavours_file
from petitpied.text.wording import printable

KIND = "list of flavours"
NOTE = (
    "# petitpied: the colour that each of your flavours should have, CIELAB under D65.\n"
    '# Written by "petitpied flavour add"; browning is counted from it.\n'
)
LONGEST_NAME = 60
#: fewest shells of a tray whose median stands for a flavour
LEAST_SHELLS = 3
#: no food lies outside: L* 0 to 100 with a margin, a* and b* of the purest prints
LAB_ALLOWED = "three numbers, L*, a* and b*; or take the line out and add the flavour anew"
LAB_BOUNDS = ((0.0, 110.0), (-100.0, 100.0), (-100.0, 120.0))


def flavour_name(text: str) -> str:
    """A name as kept: shown as it is, without line ends or odd spaces.

    Raises
    ------
    OwnFileError
        If it is empty or too long.
    """
    name = " ".join(printable(text).split())
    if not 1 <= len(name) <= LONGEST_NAME:
        raise OwnFileError(
            what="this is no name for a flavour",
            why=f"it has {len(name)} letters, of 1 to {LONGEST_NAME}",
            next_step="choose a short name, such as rose",
        )
    return name


def own_flavours() -> dict[str, Reference]:
    """All flavours that were added, by name.

    Raises
    ------
    OwnFileError
        If the list is there but cannot be read, or says nonsense.
    """
    path = flavours_file()
    if not path.exists():
        return {}
    file = read_own_file(path, KIND)
    listed = file.content.get("lab", {})
    if not isinstance(listed, dict):
        raise file.fault(("lab",), "lab must be a group of flavours", LAB_ALLOWED)
    return {name: Reference(name, _lab(file, name, lab)) for name, lab in listed.items()}


def _lab(file: OwnFile, name: str, lab: Any) -> tuple[float, float, float]:
    place = ("lab", name)
    if not isinstance(lab, list) or len(lab) != 3:
        raise file.fault(place, f"{quoted(name)} has no colour of three numbers", LAB_ALLOWED)
    lightness, a, b = (
        file.number(value, place, *bounds) for value, bounds in zip(lab, LAB_BOUNDS, strict=True)
    )
    return lightness, a, b


def own_flavour(name: str) -> Reference:
    """The flavour of this name.

    Raises
    ------
    OwnFileError
        If it was not added, or the list cannot be read.
    """
    known = own_flavours()
    wanted = flavour_name(name)
    if wanted in known:
        return known[wanted]
    listed = ", ".join(sorted(known)) or "none yet"
    raise OwnFileError(
        what=f"flavour {wanted} has no colour to compare with",
        why=f"your flavours are: {printable(listed)[:200]}",
        next_step=f'add it from a record of a good tray: petitpied flavour add "{wanted}" '
        "--from RECORD",
    )


def reference_of(name: str, record: Record) -> tuple[Reference, int]:
    """A flavour's colour from a good tray: the median of its shells, and how many they are.

    Raises
    ------
    LotError
        If too few of its shells have a colour.
    """
    labs = [shell.colour.lab for shell in record.shells if shell.colour is not None]
    if len(labs) < LEAST_SHELLS:
        raise LotError(
            what=f"no colour for flavour {flavour_name(name)} in this record",
            why=f"{len(labs)} of its shells have a colour, of at least {LEAST_SHELLS}",
            next_step="inspect a photo with the card's grey strip in good light",
        )
    lab = np.round(np.median(labs, axis=0), 2)
    return Reference(flavour_name(name), (float(lab[0]), float(lab[1]), float(lab[2]))), len(labs)


def keep_flavour(reference: Reference) -> Path:
    """Remember a flavour; one of the same name is replaced."""
    return _write(own_flavours() | {reference.flavour: reference})


def remove_flavour(name: str) -> Path:
    """Forget a flavour.

    Raises
    ------
    OwnFileError
        If there is none of this name.
    """
    gone = own_flavour(name)
    return _write({n: r for n, r in own_flavours().items() if n != gone.flavour})


def _write(flavours: dict[str, Reference]) -> Path:
    path = flavours_file()
    lines = [
        f"{json.dumps(name, ensure_ascii=False)} = {list(flavours[name].lab)}\n"
        for name in sorted(flavours)
    ]
    prepare_folder(path.parent)
    write_all({path: (NOTE + "[lab]\n" + "".join(lines)).encode()})
    return path
