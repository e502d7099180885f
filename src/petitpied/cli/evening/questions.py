"""Questions to the baker in a terminal, each with an answer offered; a bad answer is asked anew."""

import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

import typer

Answer = TypeVar("Answer")


def can_ask() -> bool:
    """Whether somebody sits at the other end: questions are for a terminal only."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def ask(question: str, offered: str, read: Callable[[str], Answer]) -> Answer:
    """The answer, Enter for the one ``offered``; ``read`` raises ValueError with what is allowed.

    Raises
    ------
    typer.Abort
        If the baker ends the questions (Ctrl-C, end of input).
    """
    shown = f"{question} [{offered}]: " if offered else f"{question} [none]: "
    while True:
        given = typer.prompt(
            shown, default="", show_default=False, prompt_suffix=""
        ).strip()
        try:
            return read(given or offered)
        except ValueError as error:
            typer.echo(f"  {error}")


def one_of(words: Sequence[str]) -> Callable[[str], str]:
    """Reads one of some words; its beginning is enough."""

    def read(given: str) -> str:
        fits = [w for w in words if w.casefold().startswith(given.casefold())] if given else []
        exact = [w for w in words if w.casefold() == given.casefold()]
        if len(exact or fits) != 1:
            raise ValueError(f"please type {', '.join(words[:-1])} or {words[-1]}")
        return (exact or fits)[0]

    return read


def number(low: float, high: float, unit: str = "mm") -> Callable[[str], float]:
    """Reads a number, with a decimal point or comma, with or without its unit."""

    def read(given: str) -> float:
        text = given.casefold().removesuffix(unit).strip().replace(",", ".")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise ValueError(f"please type a number from {low:g} to {high:g} ({unit})")
        return value

    return read


def whole(low: int, high: int) -> Callable[[str], int]:
    """Reads a whole number."""

    def read(given: str) -> int:
        if not given.isdecimal() or not low <= int(given) <= high:
            raise ValueError(f"please type a whole number from {low} to {high}")
        return int(given)

    return read


def width_by_depth(low: float, high: float) -> Callable[[str], tuple[float, float]]:
    """Reads two lengths, as in 420x320."""

    def read(given: str) -> tuple[float, float]:
        parts = given.casefold().replace("×", "x").removesuffix("mm").split("x")
        try:
            width, depth = (number(low, high)(part.strip()) for part in parts)
        except ValueError:
            raise ValueError(
                f"please type width x depth in mm, as 420x320, each from {low:g} to {high:g}"
            ) from None
        return width, depth

    return read


def name_list(most: int = 80) -> Callable[[str], tuple[str, ...]]:
    """Reads names with commas between them; none is allowed."""

    def read(given: str) -> tuple[str, ...]:
        names = tuple(dict.fromkeys(n.strip() for n in given.split(",") if n.strip()))
        if any(len(name) > most or not name.isprintable() for name in names):
            raise ValueError(f"please type names of at most {most} letters, commas between them")
        return names

    return read


def name(most: int = 80, *, needed: bool = True) -> Callable[[str], str]:
    """Reads a name."""

    def read(given: str) -> str:
        if len(given) > most or not given.isprintable() or (needed and not given):
            raise ValueError(f"please type a name of at most {most} letters")
        return given

    return read
