"""Stand-ins for measuring, at the top of a module so that worker processes can import them."""

import os
import time
from dataclasses import replace

from petitpied.domain.errors import CardError
from petitpied.running.worker_processes import Ended
from tests.records import a_record, relative_record


def inspect_photo(photo, settings):
    """A fixed record under the photo's name, or an error where the name asks for one."""
    if "nocard" in photo.name:
        raise CardError(
            what="no card found", why="0 markers seen", next_step="lay the card in view"
        )
    if "fault" in photo.name:
        raise ZeroDivisionError("float division by zero")
    record = relative_record() if settings.relative else a_record(warnings=photo.warnings)
    return replace(record, photo=replace(record.photo, file=photo.name, sha256=photo.sha256))


def find_outlines(photo):
    return photo


def see_view(_photo, _settings):
    return None


def measure(photo, settings, _outlines, _seen):
    return inspect_photo(photo, settings)


def work(job, _settings):
    """Work of a batch without any photo: fails, dies or answers by the photo's name."""
    name = job.photo.name
    if "nocard" in name:
        raise CardError(
            what="no card found", why="0 markers seen", next_step="lay the card in view"
        )
    if "fault" in name:
        raise ZeroDivisionError("float division by zero")
    if "dies" in name:
        os._exit(9)
    return (f"did {name}", f"threads {os.environ.get('OMP_NUM_THREADS', 'unset')}")


def run_here(work, tasks, _workers):
    """As `run_apart`, in this process."""
    for task in tasks:
        try:
            yield Ended(task, result=work(task))
        except Exception as error:
            yield Ended(task, error=error)


def memory(count):
    """Takes so many bytes."""
    return len(bytearray(count)) if count > 9 else count


def spin(seconds):
    """Works for so long."""
    end = time.process_time() + seconds
    while time.process_time() < end:
        pass
    return seconds


def wait(seconds):
    """Waits without working."""
    time.sleep(seconds)
    return seconds


def slow(job, _settings):
    """A photo named "done" is done, with a file that says so; others are never."""
    if "done" in job.photo.name:
        job.photo.with_name(f"{job.photo.name}.did").touch()
        return (f"did {job.photo.name}",)
    time.sleep(600)
    return ()
