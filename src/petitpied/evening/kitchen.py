"""A kitchen: its oven, tray, sizes wanted and gift box, and the file that they are written in."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from petitpied.domain.errors import OwnFileError
from petitpied.domain.own_file import OwnFile, quoted
from petitpied.piping.forms import Form
from petitpied.sorting.box_file import BoxKind, parse_box
from petitpied.sorting.limits import Limits, parse_limits

#: of the file; a later one may mean other things by the same words
VERSION = 1
PAPERS = ("a4", "letter")
KEYS = (
    *("version", "paper", "form", "flavours", "oven", "tray", "facts", "limits", "box"),
    "letterhead",
)
MOST_LETTERS = 80
MOST_NAMES = 100
#: what can be a baking tray, mm: from a toaster oven's to a bakery's 600 x 800
TRAY_MM = (100.0, 1200.0)

Found = TypeVar("Found")


@dataclass(frozen=True)
class Kitchen:
    """What `kitchen.toml` says; what it leaves out is None or empty.

    ``racks``: from the top of the oven down. ``tray_mm``: width and depth inside, width along the
    oven door. ``facts`` and ``letterhead`` are parts of the file that are read where facts of
    bakes and pictures are known. ``wrong``: parts that could not be used, each with its fault;
    ``parts``: what the file names at its top.
    """

    paper: str | None = None
    form: Form | None = None
    flavours: tuple[str, ...] = ()
    oven: str | None = None
    racks: tuple[str, ...] = ()
    tray_mm: tuple[float, float] | None = None
    facts: OwnFile | None = None
    limits: Limits | None = None
    box: BoxKind | None = None
    letterhead: OwnFile | None = None
    wrong: tuple[OwnFileError, ...] = field(default=(), compare=False)
    parts: tuple[str, ...] = ()

    @property
    def target_mm(self) -> float | None:
        """The diameter wanted of a baked shell."""
        tops = () if self.limits is None else self.limits.tops
        return next((x.target for x in tops if x.name == "diameter_mm"), None)


class _Reader:
    """Reads part after part; a fault in one does not hide those in others."""

    def __init__(self, file: OwnFile) -> None:
        self.file = file
        self.wrong: list[OwnFileError] = []

    def read(self, read: Callable[[OwnFile], Found], usual: Found) -> Found:
        try:
            return read(self.file)
        except OwnFileError as fault:
            self.wrong.append(fault)
            return usual


def parse_kitchen(file: OwnFile) -> Kitchen:
    """The kitchen in a file, with everything in it that can be used; the faults stand in
    ``wrong``.

    Raises
    ------
    OwnFileError
        If the file is of a later version: then nothing in it can be trusted.
    """
    _check_version(file)
    reader = _Reader(file)
    reader.read(_only_known, None)
    nothing: tuple[str | None, tuple[str, ...]] = (None, ())
    oven, racks = reader.read(_oven, nothing)
    return Kitchen(
        paper=reader.read(_paper, None),
        form=reader.read(_form, None),
        flavours=reader.read(lambda f: _names(f, f.content.get("flavours", []), ("flavours",)), ()),
        oven=oven,
        racks=racks,
        tray_mm=reader.read(_tray, None),
        facts=reader.read(lambda f: f.part("facts"), None),
        limits=reader.read(_limits, None),
        box=reader.read(_box, None),
        letterhead=reader.read(lambda f: f.part("letterhead"), None),
        wrong=tuple(reader.wrong),
        parts=tuple(file.content),
    )


def _only_known(file: OwnFile) -> None:
    file.only(file.content, (), KEYS)


def _check_version(file: OwnFile) -> None:
    given = file.content.get("version", VERSION)
    if isinstance(given, int) and given > VERSION:
        raise OwnFileError(
            what=f"{file.name}, line {file.line_of(('version',))}",
            why=f"it was written by a later version of petitpied (version = {given}, here "
            f"{VERSION} is known)",
            next_step="install the newest petitpied, or start a new file with petitpied setup",
        )
    file.whole(given, ("version",), 1, VERSION)


def _choice(file: OwnFile, name: str, allowed: Mapping[str, Any]) -> Any:
    given = file.content.get(name)
    if given is None:
        return None
    if given not in allowed:
        words = " or ".join(quoted(word) for word in allowed)
        raise file.fault((name,), f"{name} = {quoted(given)} is not known", words)
    return allowed[given]


def _paper(file: OwnFile) -> str | None:
    found: str | None = _choice(file, "paper", {paper: paper for paper in PAPERS})
    return found


def _form(file: OwnFile) -> Form | None:
    found: Form | None = _choice(file, "form", {form.value: form for form in Form})
    return found


def _names(file: OwnFile, given: Any, place: tuple[str, ...]) -> tuple[str, ...]:
    """A list of names, each once."""
    if not isinstance(given, list) or len(given) > MOST_NAMES:
        why = f"{place[-1]} must be a list of at most {MOST_NAMES} names"
        raise file.fault(place, why, f'{place[-1]} = ["...", "..."]')
    names = tuple(file.words(name, place, MOST_LETTERS).strip() for name in given)
    if not all(names) or len({name.casefold() for name in names}) < len(names):
        why = f"in {place[-1]} a name is empty or stands there twice"
        raise file.fault(place, why, f'{place[-1]} = ["...", "..."], each name once')
    return names


def _oven(file: OwnFile) -> tuple[str | None, tuple[str, ...]]:
    part = file.part("oven")
    if part is None:
        return None, ()
    table = part.only(part.content, (), ("name", "racks"))
    name = part.words(table.get("name", ""), ("name",), MOST_LETTERS).strip()
    if not name:
        raise part.fault(("name",), "the oven has no name", 'name = "Deck 1"')
    return name, _names(part, table.get("racks", []), ("racks",))


def _tray(file: OwnFile) -> tuple[float, float] | None:
    part = file.part("tray")
    if part is None:
        return None
    table = part.only(part.content, (), ("width_mm", "depth_mm"))
    for key in ("width_mm", "depth_mm"):
        if key not in table:
            raise part.fault((), f"{key} is missing", f"{key} = a number")
    width, depth = (part.number(table[k], (k,), *TRAY_MM) for k in ("width_mm", "depth_mm"))
    return width, depth


def _limits(file: OwnFile) -> Limits | None:
    part = file.part("limits")
    return None if part is None else parse_limits(part)


def _box(file: OwnFile) -> BoxKind | None:
    if "box" not in file.content:
        return None
    return parse_box(OwnFile(file.name, file.text, {"box": file.content["box"]}))
