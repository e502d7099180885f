"""Checks of option values that several commands share."""

import math

import typer


def finite(value: float | None) -> float | None:
    """ "nan" passes every range check of the option parser."""
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter("must be a finite number")
    return value
