"""The inspection record: what one photo says, and the contract that other files rely on."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.quantity import Quantity
from petitpied.domain.shell import Shell
from petitpied.domain.surface import TrayColour
from petitpied.domain.view import View

SCHEMA = "petitpied/inspection/1"


@dataclass(frozen=True)
class PhotoFacts:
    """What the record keeps of the photo; no location, no serial numbers."""

    file: str
    sha256: str
    width: int
    height: int
    taken_at: str | None = None
    camera: str | None = None


@dataclass(frozen=True)
class SeenCard:
    """A card in the photo: its letter and its outline's four corners, px (4, 2), in the order
    top-left, top-right, bottom-right, bottom-left of the card itself; ``print_scale``: its printed
    size over the nominal one, as allowed for."""

    id: str
    corners_px: NDArray[np.float64]
    print_scale: float = 1.0


@dataclass(frozen=True)
class TrayPlace:
    """Where the tray frame comes from and the lattice of the shells.

    ``rim``: the tray's rim was found; ``lattice``: origin at the middle of the shells;
    ``cards``: too few shells for a lattice, origin at card A.
    """

    frame: Literal["rim", "lattice", "cards"]
    rows: int
    columns: int
    door: Literal["card", "assumed"]  # "card": the grey strip's edge shows the door side
    width_mm: float | None = None  # of the tray's interior, where the rim was found
    depth_mm: float | None = None


@dataclass(frozen=True)
class Record:
    """One inspected photo. ``view`` is None in relative mode (no card, no millimetres)."""

    tool_version: str
    photo: PhotoFacts
    scale_source: Literal["cards", "lens profile+cards", "none"]
    view: View | None
    cards: tuple[SeenCard, ...]
    px_per_mm: float | None
    tray: TrayPlace | None
    shells: tuple[Shell, ...]
    heights_mm: dict[str, Quantity] = field(default_factory=dict)  # "cap_rim", "foot", shared
    heights_source: str = ""  # "photo", "shell height given", "default"
    warnings: tuple[str, ...] = ()
    lens_profile: str | None = None  # title of the lens profile that was used
    smallest_crack_width_mm: Quantity | None = None  # that this photo can show
    colour: TrayColour | None = None  # how colours were taken
    flavour: str | None = None  # as the baker named it
