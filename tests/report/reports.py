"""Reports of records made by hand, for tests; no photo is measured."""

import numpy as np
from PIL import Image

from petitpied.domain.photo import Photo
from petitpied.report.blocks import Letterhead
from petitpied.report.material import Tray
from petitpied.report.model import Wishes, make_report
from tests.records import a_record


def a_photo(record):
    """Grey with some texture, of the record's size."""
    noise = np.random.default_rng(2).integers(90, 170, (record.photo.height, record.photo.width, 3))
    return Photo(record.photo.file, record.photo.sha256, noise.astype(np.uint8))


def a_tray(record=None, *, name="tray", with_photo=True, **changes):
    record = a_record() if record is None else record
    photo = a_photo(record) if with_photo else None
    reason = "" if with_photo else "the photo tray.jpg is gone from its place"
    return Tray(name, record, photo, reason, **changes)


def a_report(trays=None, **changes):
    wishes = {"letterhead": Letterhead(), "title": ""}
    return make_report(trays or [a_tray()], Wishes(**(wishes | changes)))


def a_png(path, size=(300, 120)):
    Image.new("RGBA", size, (90, 20, 60, 128)).save(path)
    return path
