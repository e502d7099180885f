"""For all tests: the user's own folders are empty ones, so that no test sees or changes what the
program remembers on this machine."""

import sys

import numpy as np
import pytest
from PIL import Image

from petitpied.cli.main import main


@pytest.fixture(autouse=True)
def own_folders(monkeypatch, tmp_path_factory):
    """Own data and configuration folders (XDG base directories, as platformdirs reads them)."""
    home = tmp_path_factory.mktemp("home")
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(home / name))
    return home


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
