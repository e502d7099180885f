"""How the places of files are told: never more of the machine than the baker said."""

from collections.abc import Sequence
from os.path import commonpath
from pathlib import Path

from petitpied.text.wording import printable

LONGEST = 1_000  # letters


def shown_path(path: Path) -> str:
    """From the current folder on, or from the user's own ("~"), else as it was given."""
    try:
        whole = path.absolute()
        if whole.is_relative_to(Path.cwd()):
            return _shown(str(whole.relative_to(Path.cwd())))
        if whole.is_relative_to(Path.home()):
            return _shown(str(Path("~") / whole.relative_to(Path.home())))
    except (OSError, RuntimeError, ValueError):  # no home, no current folder, no name of a file
        pass
    return _shown(str(path))


def _shown(text: str) -> str:
    """No name that a file can have is cut; what somebody made up is."""
    return printable(text if len(text) <= LONGEST else f"{text[:100]}...{text[-100:]}")


def short_keys(files: Sequence[Path]) -> tuple[str, ...]:
    """A different name for each file: from the folder on that all of them lie in."""
    whole = [file.absolute() for file in files]
    try:
        common = Path(commonpath([file.parent for file in whole])) if whole else Path()
    except ValueError:  # on different drives
        return tuple(f"{number}/{file.name}" for number, file in enumerate(whole, 1))
    return tuple(file.relative_to(common).as_posix() for file in whole)
