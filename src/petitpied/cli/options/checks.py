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

Replace = Annotated[
    bool, typer.Option("--replace", help="Write over files of the same names that are there.")
]


def finite(value: float | None) -> float | None:
    """ "nan" passes every range check of the option parser."""
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter("must be a finite number")
    return value


def measure_code(typed: str | None) -> str | None:
    """A measure by the code's name; "lopsided" is the trade's word for a lean."""
    from petitpied.text.measure_names import code_name

    return None if typed is None else code_name(typed)


def measure_codes(typed: list[str] | None) -> list[str] | None:
    """`measure_code` of each."""
    from petitpied.text.measure_names import code_name

    return None if typed is None else [code_name(one) for one in typed]
