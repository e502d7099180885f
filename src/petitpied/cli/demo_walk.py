"""The made-up kitchen of the Atelier Brume: its files, and the commands of a baker's evening."""

from collections.abc import Iterator
from contextlib import chdir
from dataclasses import dataclass
from importlib.resources import files
from math import cos, pi, sin
from pathlib import Path

import typer

from petitpied.domain.errors import OutputError
from petitpied.files.output_files import prepare_folder, write_all
from petitpied.text.wording import printable


@dataclass(frozen=True, slots=True)
class DemoTray:
    """One photographed tray, and what the baker knows of its bake."""

    name: str
    baked_at: str
    turn: int
    rest_minutes: int

    @property
    def row(self) -> str:
        """Its line in the table of facts that `petitpied log` reads."""
        record = f"results/{self.name}.json"
        return f"{record},Deck 1,middle,{self.turn},{self.baked_at},{self.name},{self.rest_minutes}"


TRAYS = (
    DemoTray("rose", "2026-11-21T09:10:00+01:00", 0, 40),
    DemoTray("lemon", "2026-11-21T09:45:00+01:00", 180, 45),
    DemoTray("chocolate", "2026-11-21T10:20:00+01:00", 0, 40),
    DemoTray("vanilla", "2026-11-21T10:55:00+01:00", 180, 25),
    DemoTray("violet", "2026-11-21T11:30:00+01:00", 0, 45),
    DemoTray("pistachio", "2026-11-21T12:05:00+01:00", 180, 40),
)
FACTS_HEAD = "record,oven,rack,turn,at,flavour,rest_minutes"
LETTERHEAD = """\
name = "Atelier Brume"
lines = ["A kitchen that we made up", "Trays of 21 November"]
picture = "cloud.png"
picture_alt = "A small cloud"
foot = "Made-up kitchen: no real bake, no real product."
"""
PHOTOS = files("petitpied.cli").joinpath("demo_kitchen")
DB = "kitchen.db"


@dataclass(frozen=True, slots=True)
class Step:
    """One command of the walk, and what it is for."""

    why: str
    arguments: tuple[str, ...]

    @property
    def line(self) -> str:
        quoted = (f'"{a}"' if " " in a else a for a in self.arguments)
        return "petitpied " + " ".join(quoted)


def steps() -> tuple[Step, ...]:
    """The commands, in the order of the job."""
    return (
        Step("Measure every shell of six trays.", ("inspect", "photos", "--out", "results")),
        Step("Keep the bakes in the history.", ("log", "--facts", "facts.csv", "--db", DB)),
        Step(
            "Make up twelve earlier bakes with a hot spot, half of the trays turned.",
            ("simulate", "--out", "past", "--bakes", "12", "--turned", "6", "--oven", "Deck 1",
             "--oven-effect", "spot:1.5:120,-70", "--seed", "3"),
        ),
        Step("Keep these too.", ("log", "--facts", "past/facts.csv", "--db", DB)),
        Step(
            "Look where the oven bakes otherwise.",
            ("oven-map", "Deck 1", "--out", "oven_map.png", "--db", DB),
        ),
        Step("Is it the oven, or the hand?", ("oven-or-hand", "Deck 1", "--db", DB)),
        Step("Start a file of limits.", ("limits", "--new")),
        Step(
            "Judge a tray by them.",
            ("sort", "results/rose.json", "--limits", "limits.toml", "--photos", "photos",
             "--out", "sorted"),
        ),
        Step(
            "Match its shells to pairs.",
            ("pair", "results/rose.json", "--limits", "limits.toml", "--photos", "photos",
             "--out", "sorted"),
        ),
        Step("Start a file of your gift box.", ("box", "--new")),
        Step(
            "Fill gift boxes.",
            ("box", "results/rose.json", "--limits", "limits.toml", "--out", "sorted"),
        ),
        Step(
            "Make the report of that tray.",
            ("report", "results/rose.json", "--limits", "limits.toml", "--box", "box.toml",
             "--photos", "photos", "--letterhead", "letterhead.toml", "--db", DB,
             "--out", "report"),
        ),
    )  # fmt: skip


def run_demo(folder: Path) -> None:
    """Make the kitchen in a new folder and run every step there, printing each command.

    Raises
    ------
    OutputError
        If the folder holds something already, or cannot be written.
    ReadingError
        As the commands.
    """
    make_kitchen(folder)
    typer.echo(f"A made-up kitchen, the Atelier Brume, is in {printable(str(folder))}.")
    typer.echo("Each command below can be repeated there: every line after $ is one.")
    typer.echo(f"\n$ cd {printable(str(folder))}")
    with chdir(folder):
        for step in steps():
            typer.echo(f"\n# {step.why}\n$ {step.line}")
            _run(step)
    typer.echo(f"\nOpen {printable(str(folder / 'report' / 'rose.report.html'))} in a browser.")


def _run(step: Step) -> None:
    """In this process: a new one for each command would double the time."""
    from petitpied.cli.main import app

    command = typer.main.get_command(app)
    command.main(args=list(step.arguments), prog_name="petitpied", standalone_mode=False)


def make_kitchen(folder: Path) -> None:
    """Photos and the baker's own files, in a new or empty folder."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(
            what=f"{printable(str(folder))} was left as it is",
            why="there is something in it already",
            next_step="give a new folder with --out",
        )
    prepare_folder(folder / "photos")
    write_all(dict(_files(folder)))


def _files(folder: Path) -> Iterator[tuple[Path, bytes]]:
    for tray in TRAYS:
        name = f"{tray.name}.jpg"
        yield folder / "photos" / name, PHOTOS.joinpath(name).read_bytes()
    facts = "\n".join([FACTS_HEAD, *(tray.row for tray in TRAYS), ""])
    yield folder / "facts.csv", facts.encode()
    yield folder / "letterhead.toml", LETTERHEAD.encode()
    yield folder / "cloud.png", _cloud()


def _cloud() -> bytes:
    """The kitchen's mark, drawn: a cloud over a saucer."""
    from petitpied.figures.drawing import Circle, Drawing, Path, Shape, polyline, rect
    from petitpied.figures.look import BLUE, PALE, PLUM
    from petitpied.figures.raster import png_bytes

    puffs = ((110, 110, 50), (165, 85, 62), (225, 115, 46))
    saucer = [(160 + 90 * cos(a), 178 + 38 * sin(a)) for a in (pi * n / 36 for n in range(4, 33))]
    shapes: list[Shape] = [
        *(Circle((x, y), r - 3, PALE, BLUE, 6) for x, y, r in puffs),
        rect((105, 112), (125, 44), fill=PALE),
        polyline((100, 160), (236, 160), width=6, colour=BLUE),
        Path([saucer], stroke=PLUM, width=8),
    ]
    return png_bytes(Drawing(320, 240, shapes))
