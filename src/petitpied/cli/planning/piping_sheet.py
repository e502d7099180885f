"""From records or entered numbers to a piping sheet, and the words about it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.errors import LotError
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.figures.paper import PAPERS_MM
from petitpied.figures.print.print_template import Template
from petitpied.files.records.record_files import read_record
from petitpied.piping import growth as growing
from petitpied.piping.forms import Form, size_mm
from petitpied.piping.growth import BakedTray, Growth
from petitpied.piping.sheet import Sheet, lay_out
from petitpied.text.wording import printable, share

#: entered without a spread: the between-shell spread of evenly hand-piped trays is about this,
#: common practice, no source
DEFAULT_SPREAD_MM = 1.0
#: growth measured at another size is called extrapolated beyond this ratio of targets: common
#: practice, no source
FAR_TARGET = 0.15
TRAY = re.compile(r"\s*(\d{2,4}(?:\.\d+)?)\s*[x×*]\s*(\d{2,4}(?:\.\d+)?)\s*", re.IGNORECASE)
TRAY_MM = (100.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Measured:
    """Growth, the caliper's excess over the diameter, and where both come from."""

    growth: Growth
    caliper: float
    source: str
    baked_mm: float | None = None  # mean diameter that the growth was measured at


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the baker asks for; ``size_mm`` of the whole sheet."""

    target_mm: float
    form: str
    gap_mm: float
    risk: float
    with_card: bool
    size_mm: tuple[float, float]


@dataclass(frozen=True)
class Planned:
    """The sheet to print, and what the command says about it."""

    template: Template
    lines: tuple[str, ...]


def sheet_size(tray: str | None, paper: str) -> tuple[float, float]:
    """Size of the sheet, mm: the paper's, or the tray's as in "420x320".

    Raises
    ------
    LotError
        If the tray's size cannot be read or is out of range.
    """
    if tray is None:
        return PAPERS_MM[paper]
    match = TRAY.fullmatch(tray)
    size = tuple(float(part) for part in match.groups()) if match else ()
    if len(size) != 2 or not all(TRAY_MM[0] <= s <= TRAY_MM[1] for s in size):
        raise LotError(
            what=f"the tray's size {printable(tray)[:40]} cannot be used",
            why="it must be width x depth in mm, each from 100 to 1000",
            next_step="write it as --tray 420x320",
        )
    return size[0], size[1]


def growth_entered(growth_mm: float | None, spread_mm: float | None) -> Measured:
    """Growth by the baker's ruler.

    Raises
    ------
    LotError
        If no growth was given.
    """
    if growth_mm is None:
        raise LotError(
            what="the size to pipe is unknown",
            why="it is the target less the growth in baking, and no growth was given",
            next_step="give --from RECORD of a tray inspected with --before, or --growth MM",
        )
    spread = DEFAULT_SPREAD_MM if spread_mm is None else spread_mm
    source = "growth as entered" + (
        f", spread taken as {spread:.1f} mm (common practice)" if spread_mm is None else ""
    )
    return Measured(Growth(growth_mm, 0.0, spread, inf), 1.0, source)


def growth_from_records(paths: Sequence[Path]) -> Measured | None:
    """Growth measured by the records; None without records.

    Raises
    ------
    RecordError
        If one cannot be read.
    LotError
        If none of them holds a growth.
    """
    if not paths:
        return None
    records = [read_record(path) for path in paths]
    trays = [baked_tray(record) for record in records]
    measured = growing.growth_of(trays)
    if measured is None:
        raise LotError(
            what="no growth in the records",
            why="it needs a photo of the piped rounds before baking",
            next_step="inspect the baked tray with --before PIPED.jpg, or give --growth MM",
        )
    grown = [t for t in trays if np.isfinite(t.growth_mm).any()]
    shells = sum(int(np.isfinite(t.growth_mm).sum()) for t in grown)
    trays_word = "1 tray" if len(grown) == 1 else f"{len(grown)} trays"
    return Measured(
        measured,
        growing.caliper_over_diameter(grown),
        f"growth measured on {shells} shells of {trays_word}",
        float(np.mean([np.nanmean(t.diameter_mm) for t in grown])),
    )


def baked_tray(record: Record) -> BakedTray:
    """Growth, sizes and places of one record's shells."""
    shells = record.shells
    grown = [q.u_shared for s in shells if (q := s.growth) is not None]
    return BakedTray(
        growth_mm=_values(shells, "growth"),
        diameter_mm=_values(shells, "diameter_mm"),
        feret_max_mm=_values(shells, "feret_max_mm"),
        centre_mm=np.array([s.centre_mm or (np.nan, np.nan) for s in shells], float).reshape(-1, 2),
        rows=np.array([s.row for s in shells], np.int64),
        columns=np.array([s.column for s in shells], np.int64),
        u_shared_mm=float(np.mean(grown)) if grown else 0.0,
    )


def _values(shells: Sequence[Shell], name: str) -> NDArray[np.float64]:
    quantities = [getattr(shell, name) for shell in shells]
    return np.array([np.nan if q is None else q.value for q in quantities], float)


def plan(wanted: Wanted, measured: Measured) -> Planned:
    """The sheet with as many forms as fit, and its words.

    Raises
    ------
    LotError
        If the growth leaves nothing to pipe, or not one form fits.
    """
    form = Form(wanted.form)
    try:
        piped = growing.piped_diameter_mm(wanted.target_mm, measured.growth)
        sheet, pitches = _sheet(wanted, measured, form)
    except ValueError as error:
        raise LotError(
            what=f"a piping sheet for {wanted.target_mm:g} mm cannot be made",
            why=str(error),
            next_step="give a larger sheet (--paper a3 or --tray), a smaller --target or --gap",
        ) from None
    worst = max(pitches, key=lambda p: p.p_pair)
    words = _words(wanted, measured, piped)
    note = f"Chance that any two of {len(sheet.places)} touch: {share(worst.p_any)}"
    lines = [
        words,
        f"{len(sheet.places)} places in {sheet.rows} rows of up to {sheet.columns}, "
        f"pitch {_pitch_text(sheet)}",
        f"{note} (two neighbours: {share(worst.p_pair)}).",
        *_cautions(wanted, measured),
    ]
    legend = f"{note}. Solid: pipe to here. Dotted: baked."
    template = Template(sheet, form, piped, wanted.target_mm, (words, legend))
    return Planned(template, tuple(lines))


def _sheet(
    wanted: Wanted, measured: Measured, form: Form
) -> tuple[Sheet, tuple[growing.Pitch, growing.Pitch]]:
    """Layout at the pitch that holds the risk for the number of neighbours that result."""
    box = size_mm(form, wanted.target_mm)
    reach = [side * measured.caliper for side in box]
    pairs = 1
    for _ in range(4):  # more neighbours need a larger pitch: settles at once or in two rounds
        pitches = tuple(
            growing.pitch_for(r, measured.growth, wanted.risk, pairs) for r in reach
        )
        pitch = [
            max(p.pitch_mm, _rounded_up(side + wanted.gap_mm))
            for p, side in zip(pitches, box, strict=True)
        ]
        sheet = lay_out(
            wanted.size_mm, (reach[0], reach[1]), (pitch[0], pitch[1]),
            with_card=wanted.with_card,
        )  # fmt: skip
        found = neighbours_of(sheet)
        if found <= pairs:
            break
        pairs = found
    found = neighbours_of(sheet)
    across, down = (
        growing.touching(r, p, measured.growth, found) for r, p in zip(reach, pitch, strict=True)
    )
    return sheet, (across, down)


def neighbours_of(sheet: Sheet) -> int:
    """Pairs of side-by-side places that the sheet really has."""
    there = {(p.row, p.column) for p in sheet.places}
    return sum(((r, c + 1) in there) + ((r + 1, c) in there) for r, c in there)


def _rounded_up(length_mm: float) -> float:
    steps = int(np.ceil(length_mm / growing.PITCH_STEP_MM - 1e-9))
    return steps * growing.PITCH_STEP_MM


def _words(wanted: Wanted, measured: Measured, piped_mm: float) -> str:
    growth = measured.growth
    doubt = f" ± {1.96 * growth.u_mm:.1f} mm" if growth.u_mm > 0 else ""
    name = "" if wanted.form == "round" else f" {wanted.form} (diameter of the same area)"
    return (
        f"Pipe{name} to {piped_mm:.1f} mm: bakes to {wanted.target_mm:g} mm "
        f"(grows by {growth.mean_mm:.1f} mm{doubt})."
    )


def _pitch_text(sheet: Sheet) -> str:
    across, down = sheet.pitch_mm
    return f"{across:.1f} mm" if across == down else f"{across:.1f} mm across, {down:.1f} mm down"


def _cautions(wanted: Wanted, measured: Measured) -> list[str]:
    growth = measured.growth
    lines = [
        f"From: {measured.source}; spread of diameters {growth.spread_mm:.1f} mm, "
        f"of places {growth.place_sd_mm:.1f} mm."
    ]
    if measured.baked_mm is not None:
        ratio = wanted.target_mm / measured.baked_mm
        if abs(ratio - 1) > FAR_TARGET:
            lines.append(
                f"caution: growth was measured at {measured.baked_mm:.0f} mm; "
                f"at {wanted.target_mm:g} mm it may differ: check with one tray."
            )
    return lines
