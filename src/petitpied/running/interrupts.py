"""Ctrl-C and SIGTERM: the program stops within two seconds, and says what is done."""

import contextlib
import multiprocessing
import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Iterator
from types import FrameType

#: between the signal and the end by force: a step of OpenCV or of a solver hears no signal
GRACE_S = 1.5
SIGNALS = (signal.SIGINT, signal.SIGTERM)
ALWAYS = "what was said to be written or logged is complete, nothing else was changed"


class Interrupted(BaseException):
    """Raised in the main thread by a signal; no `Exception`, so that nothing takes it for a fault.

    ``exit_code`` is 128 and the signal's number, as shells have it; ``done`` says what is done and
    what is not, where a command knows.
    """

    def __init__(self, number: int) -> None:
        super().__init__(f"signal {number}")
        self.exit_code = 128 + number
        self.done = ""


def _raise(number: int, _frame: FrameType | None) -> None:
    raise Interrupted(number)


@contextlib.contextmanager
def interruptible() -> Iterator[None]:
    """Within it, both signals raise `Interrupted`; what does not end by that is ended by force."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.signal(number, _raise) for number in SIGNALS}
    hears, tells = socket.socketpair()
    tells.setblocking(False)
    wakeup = signal.set_wakeup_fd(tells.fileno(), warn_on_full_buffer=False)
    threading.Thread(target=_end_by_force, args=(hears,), daemon=True).start()
    try:
        yield
    finally:
        signal.set_wakeup_fd(wakeup)
        for number, handler in before.items():
            signal.signal(number, handler)
        tells.close()


def _end_by_force(hears: socket.socket) -> None:
    """Waits for a signal's number beside the main thread, which may be deep in a library."""
    with hears:
        heard = hears.recv(1)
        if not heard or heard[0] not in SIGNALS:
            return
        hears.settimeout(GRACE_S)
        begun = time.monotonic()
        with contextlib.suppress(TimeoutError):
            while hears.recv(1):  # ended in time: the other end is closed
                hears.settimeout(max(0.01, GRACE_S - (time.monotonic() - begun)))
            return
    for child in multiprocessing.active_children():
        child.kill()
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(f"stopped: {ALWAYS}.\n")
        sys.stderr.flush()
    os._exit(128 + heard[0])


def heard_by_parent() -> None:
    """In a worker: Ctrl-C reaches the whole group, but the parent says who stops and when. What
    is half done lies beside the files that are whole, so it may end at once and without a word."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda number, _frame: os._exit(128 + number))
