"""Errors meant for the baker: one sentence that says what, why and what to do next."""

from enum import IntEnum

#: zero width joiner and non-joiner: scripts and emoji need them, and they cannot mislead
JOINERS = "\u200c\u200d"


def printable(text: str) -> str:
    """Text from outside without control, escape and direction characters."""
    return "".join(c if c.isprintable() or c in JOINERS else "?" for c in text)


class ExitCode(IntEnum):
    """Exit status of the command line, by class of error, never by its text."""

    OK = 0
    FAULT = 1  # anything we did not foresee; 2 is the command line's own, for wrong usage
    PHOTO = 3  # the picture cannot be read
    CARD = 4  # no scale: card missing, mirrored, doubled, bent, wrongly printed
    SHELLS = 5  # nothing to measure
    OUTPUT = 6  # the results cannot be written
    SOME_FAILED = 7  # several photos, at least one of them failed
    RECORD = 8  # a record that cannot be read
    LENS = 9  # a lens chart or lens profile that cannot be used
    HISTORY = 10  # the database of bakes, or facts that cannot be logged
    OWN_FILE = 11  # a file of the baker's own (limits, box, recipe, letterhead) with a fault
    LOT = 12  # nothing to sort, pair, box, map or report


class ReadingError(Exception):
    """An error shown to the baker without a traceback.

    Parameters
    ----------
    what : str
        What happened, beginning in lower case, no full stop.
    why : str
        The measured or found reason, with what was needed.
    next_step : str
        Something that the baker can do.
    """

    exit_code = ExitCode.FAULT

    def __init__(self, *, what: str, why: str, next_step: str) -> None:
        super().__init__(f"{what}: {why}; {next_step}.")
        self.what, self.why, self.next_step = what, why, next_step

    def __reduce__(self) -> tuple[object, ...]:
        """Cross a process boundary (batch jobs) with the class and the parts kept."""
        return _rebuild, (type(self), self.what, self.why, self.next_step)


def _rebuild(kind: type[ReadingError], what: str, why: str, next_step: str) -> ReadingError:
    return kind(what=what, why=why, next_step=next_step)


class PhotoError(ReadingError):
    """The file is no picture that we can read."""

    exit_code = ExitCode.PHOTO


class CardError(ReadingError):
    """No usable scale in the photo."""

    exit_code = ExitCode.CARD


class ShellsError(ReadingError):
    """No shell in the photo."""

    exit_code = ExitCode.SHELLS


class OutputError(ReadingError):
    """The results cannot be written."""

    exit_code = ExitCode.OUTPUT


class RecordError(ReadingError):
    """A record that cannot be read."""

    exit_code = ExitCode.RECORD


class LensError(ReadingError):
    """A lens chart or lens profile that cannot be used."""

    exit_code = ExitCode.LENS


class HistoryError(ReadingError):
    """The database of bakes cannot be used, or a fact cannot be logged."""

    exit_code = ExitCode.HISTORY


class OwnFileError(ReadingError):
    """A file that the baker wrote (limits, box, recipe, letterhead) has a fault."""

    exit_code = ExitCode.OWN_FILE


class LotError(ReadingError):
    """Too little to sort, pair, box, map or report."""

    exit_code = ExitCode.LOT
