"""The user's own folders for what the program remembers: lens profiles, print scales."""

from pathlib import Path

import platformdirs


def lenses_folder() -> Path:
    """Where lens profiles are kept; it may not exist yet."""
    return Path(platformdirs.user_data_dir("petitpied", appauthor=False)) / "lenses"


def cards_file() -> Path:
    """The file with the print scale of the user's cards; it may not exist yet."""
    return Path(platformdirs.user_config_dir("petitpied", appauthor=False)) / "cards.toml"
