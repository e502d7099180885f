"""One attack run as a command in this process, and what must hold whatever the file was."""

import io
import os
import resource
import sys
import time
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from unittest import mock

from petitpied.cli.main import main
from petitpied.domain.errors import JOINERS, ExitCode

#: 2 is the command line's own, for wrong usage
STATUSES = {int(code) for code in ExitCode} - {int(ExitCode.FAULT)} | {2}
WORDS_OF_FAULTS = ("Traceback", "unforeseen", "Exception ignored", "RuntimeWarning")


@dataclass(frozen=True)
class Outcome:
    """What a command did: status, what it showed, processor seconds."""

    status: int
    out: str
    err: str
    seconds: float


def run_command(arguments):
    """The command in this process; an exception that comes through counts as a traceback."""
    out, err = io.StringIO(), io.StringIO()
    begun = time.process_time()
    status = 0
    argv = mock.patch.object(sys, "argv", ["petitpied", *map(str, arguments)])
    with argv, redirect_stdout(out), redirect_stderr(err):
        try:
            main()
        except SystemExit as end:
            status = 0 if end.code is None else int(end.code)
        except BaseException as error:  # the program let it through
            status = 1
            err.write(f"Traceback: {type(error).__name__}: {error}")
    return Outcome(status, out.getvalue(), err.getvalue(), time.process_time() - begun)


def faults_of(outcome, folder, most_s):
    """What is wrong with an outcome, in words; nothing where all holds."""
    shown = outcome.out + outcome.err
    found = [f"says {word}: {_around(shown, word)}" for word in WORDS_OF_FAULTS if word in shown]
    if outcome.status not in STATUSES:
        found.append(f"status {outcome.status}")
    if outcome.status and not outcome.err.strip():
        found.append("fails without a word")
    if outcome.seconds > most_s:
        found.append(f"takes {outcome.seconds:.1f} s")
    odd = {c for c in shown if not c.isprintable() and c not in "\n\t" + "".join(JOINERS)}
    if odd:
        found.append(f"shows raw {sorted(map(ascii, odd))[:4]}")
    if longest(outcome.err) > 3000:
        found.append(f"a line of {longest(outcome.err)} letters")
    left = [
        name for _, _, names in os.walk(folder) for name in names if name.startswith(".petitpied-")
    ]
    if left:
        found.append(f"leaves {left[0]}")
    return found


def _around(text, word):
    at = text.index(word)
    return ascii(text[at : at + 160])


def longest(text):
    return max(map(len, text.splitlines()), default=0)


def bound_memory(most_bytes):
    """Of this process; what goes beyond raises `MemoryError`, which is a fault like any other."""
    hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
    resource.setrlimit(resource.RLIMIT_DATA, (most_bytes, hard))
