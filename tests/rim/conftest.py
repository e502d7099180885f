import sys

import numpy as np
import pytest
from PIL import Image

from petitpied.rim.cli import main


@pytest.fixture
def petitpied(monkeypatch, capsys):
    """Run a command in this process: status, standard output, standard error."""

    def command(*arguments):
        monkeypatch.setattr(sys, "argv", ["petitpied", *map(str, arguments)])
        try:
            main()
            status = 0
        except SystemExit as end:
            status = end.code or 0
        shown = capsys.readouterr()
        return int(status), shown.out, shown.err

    return command


@pytest.fixture
def small_photo(tmp_path):
    """A grey JPEG of 0.3 megapixels on disk."""
    path = tmp_path / "tray.jpg"
    Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(path)
    return path
