"""What is found over bakes: patterns with effects, cells of a map, an oven's map."""

from dataclasses import dataclass
from typing import Literal

from petitpied.patterns.oven.likeness import Likeness
from petitpied.patterns.oven.templates import Region
from petitpied.statistics.directions import MeanDirection

Kind = Literal["across", "front-back", "centre-edge", "spot", "lean"]
Strength = Literal["suggests", "shows", "nothing found"]


@dataclass(frozen=True, slots=True)
class Effect:
    """An effect in the measure's unit and its expanded uncertainty, 95 % (None: one bake of
    too few shells to know it). Of a pointing measure: its length, and ``direction_deg`` from
    +x (right) towards +y (the door)."""

    value: float
    u95: float | None
    unit: str
    direction_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One pattern. ``effect`` and ``p_adjusted`` are None where the bakes cannot tell them:
    ``why`` says it. Effects: right minus left, door side minus back, edge minus middle, a
    spot's middle against the tray around it, mean lean."""

    kind: Kind
    effect: Effect | None
    p_adjusted: float | None
    stands_out: bool
    place_mm: tuple[float, float] | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of the map, tray frame: how far its shells lie from their tray's mean, on average
    over ``bakes``. ``value`` is None where too few bakes have shells there. ``lean_mm``: mean
    lean (x, y) there."""

    middle_mm: tuple[float, float]
    size_mm: tuple[float, float]
    value: float | None
    u95: float | None
    bakes: int
    stands_out: bool = False
    lean_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class CameraSuspect:
    """Whether the camera is cleared of a pattern, and by what.

    ``could_fake``: what the view's uncertainty can fake of it, 95 %, in the measure's unit; None
    where that has no bound (light, feet, cracks). ``sides``: units photographed from one side, and
    from the other (90 degrees and more away); None where photos do not tell.
    """

    cleared: bool
    by: str  # "size", "sides", or ""
    could_fake: float | None
    sides: tuple[int, int] | None


@dataclass(frozen=True)
class MissingShells:
    """Lattice places (x, y), tray frame, mm, with how many of ``bakes`` miss a value there, those
    that miss most first; whether missing goes with place."""

    bakes: int
    places: tuple[tuple[float, float, int], ...]
    uneven: bool

    @property
    def count(self) -> int:
        return sum(n for *_, n in self.places)


@dataclass(frozen=True)
class OvenMap:
    """All that the bakes of one oven and rack say of one measure."""

    measure: str
    unit: str
    bakes: int
    units: int  # independent ones: batters, or days; see `made_together`
    shells: int
    strength: Strength
    findings: tuple[Finding, ...]
    cells: tuple[Cell, ...]
    region: Region
    smallest_effect_80: float | None  # of a spot, found in 4 of 5 such histories
    more_units_to_halve: int
    least_p: float
    likeness: Likeness
    neighbours: float | None  # Moran's I between neighbouring shells, mean over bakes
    airflow: MeanDirection | None
    flat: bool  # all shells of every bake read the same
    missing: MissingShells | None = None  # where trays have a common lattice
    camera: CameraSuspect | None = None  # of the strongest pattern, where it was looked at

    @property
    def strongest(self) -> Finding | None:
        """The pattern that stands out most, where one does."""
        out = [f for f in self.findings if f.stands_out]
        return out[0] if out else None
