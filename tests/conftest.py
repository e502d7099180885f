"""For all tests: the user's own folders are empty ones, so that no test sees or changes what the
program remembers on this machine."""

import pytest


@pytest.fixture(autouse=True)
def own_folders(monkeypatch, tmp_path_factory):
    """Own data and configuration folders (XDG base directories, as platformdirs reads them)."""
    home = tmp_path_factory.mktemp("home")
    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(home / name))
    return home
