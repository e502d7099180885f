"""Stand-ins for measuring, at the top of a module so that worker processes can import them."""

import os
from dataclasses import replace

from petitpied.domain.errors import CardError
from tests.records import a_record, relative_record


def inspect_photo(photo, settings, *_aside):
    """A fixed record under the photo's name, or an error where the name asks for one."""
    if "nocard" in photo.name:
        raise CardError(
            what="no card found", why="0 markers seen", next_step="lay the card in view"
        )
    if "fault" in photo.name:
        raise ZeroDivisionError("float division by zero")
    record = relative_record() if settings.relative else a_record(warnings=photo.warnings)
    return replace(record, photo=replace(record.photo, file=photo.name, sha256=photo.sha256))


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
