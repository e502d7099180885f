"""The print scale of the user's own cards, kept in a small TOML file."""

from pathlib import Path

from petitpied.domain.card import LETTERS
from petitpied.domain.errors import OwnFileError
from petitpied.files.output_files import prepare_folder, write_all
from petitpied.files.own.own_file import read_own_file
from petitpied.files.own_folders import cards_file

KIND = "list of print scales"
NOTE = (
    "# petitpied: measured length of the 100 mm bar printed beside your cards, by card.\n"
    '# Written by "petitpied card --check"; a card that is not listed is printed true.\n'
)
#: a page printed at half or one and a half of its size is no card any more
BAR_BOUNDS_MM = (50.0, 150.0)
BAR_MM = 100.0

Scales = tuple[tuple[str, float], ...]


def own_print_scales() -> Scales:
    """Letter and print scale of each of the user's cards that is not printed true.

    Raises
    ------
    OwnFileError
        If the file is there but cannot be read, or says nonsense.
    """
    path = cards_file()
    return _scales_of(path) if path.exists() else ()


def _scales_of(path: Path) -> Scales:
    file = read_own_file(path, KIND)
    bars = file.only(file.content.get("bar_mm", {}), ("bar_mm",), LETTERS)
    return tuple(
        (letter, file.number(bar, ("bar_mm", letter), *BAR_BOUNDS_MM) / BAR_MM)
        for letter, bar in bars.items()
    )


def keep_print_scale(letters: tuple[str, ...], bar_mm: float) -> Path:
    """Remember the measured bar for these cards; 100 mm takes them off the list.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path = cards_file()
    try:
        known = dict(own_print_scales())
    except OwnFileError:
        known = {}  # a damaged list is made anew
    for letter in letters:
        known[letter] = bar_mm / BAR_MM
    lines = [
        f"{letter} = {BAR_MM * known[letter]:.2f}\n"
        for letter in LETTERS
        if round(known.get(letter, 1.0), 4) != 1.0
    ]
    prepare_folder(path.parent)
    write_all({path: (NOTE + "[bar_mm]\n" + "".join(lines)).encode()})
    return path
