"""Checks of option values that several commands share."""

import math
from typing import Annotated

import typer

#: which history; None is the file in the user's data folder
Db = Annotated[
    str | None,
    typer.Option(
        metavar="URL",
        help="Another history: the path of an SQLite file, or postgresql://...",
        show_default=False,
    ),
]


def finite(value: float | None) -> float | None:
    """ "nan" passes every range check of the option parser."""
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter("must be a finite number")
    return value
