"""The user's own folders for what the program remembers: lens profiles, print scales,
flavours."""

from pathlib import Path

import platformdirs


def history_file() -> Path:
    """The history's usual place; it may not exist yet."""
    return Path(platformdirs.user_data_dir("petitpied", appauthor=False)) / "history.sqlite"


def lenses_folder() -> Path:
    """Where lens profiles are kept; it may not exist yet."""
    return Path(platformdirs.user_data_dir("petitpied", appauthor=False)) / "lenses"


def flavours_file() -> Path:
    """The list of the user's flavours and their colours; it may not exist yet."""
    return Path(platformdirs.user_data_dir("petitpied", appauthor=False)) / "flavours.toml"


def cards_file() -> Path:
    """The file with the print scale of the user's cards; it may not exist yet."""
    return Path(platformdirs.user_config_dir("petitpied", appauthor=False)) / "cards.toml"
