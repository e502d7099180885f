"""A bake as the history keeps it: its facts, and its shells' values at their places."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from petitpied.domain.camera_doubt import CameraDoubt

Floats = NDArray[np.float64]

#: measures that can be mapped and charted: key of `BakeShells.values` to unit
MEASURES: dict[str, str] = {
    "diameter": "mm",
    "cap_diameter": "mm",
    "roundness": "mm",
    "foot_spread": "mm",
    "lean_x": "mm",  # towards +x of the tray frame
    "lean_y": "mm",  # towards +y, the door
    "height": "mm",
    "browning": "Delta E00",
    "cracks": "mm",  # length of all cracks of a shell; 0 where none
    "growth": "mm",  # baked minus piped diameter
    "piped_diameter": "mm",
}


@dataclass(frozen=True, slots=True)
class BakeFacts:
    """What the baker knows of one bake: one tray, one time in the oven.

    ``photo_sha256`` is the bake's identity. ``turn_deg`` 180: the tray went into the oven
    turned by half. Everything beyond photo, time and oven may be missing.
    """

    photo_sha256: str
    baked_at: datetime  # with its offset from UTC
    oven: str
    rack: str | None = None
    turn_deg: Literal[0, 180] = 0
    set_temperature_c: float | None = None
    fan: bool | None = None
    liner: str | None = None
    rest_minutes: float | None = None
    humidity_rel: float | None = None  # 0 to 1
    flavour: str | None = None
    batch: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class BakeShells:
    """The measured shells of one bake, tray frame (x right, y towards the door), S shells.

    ``values``: measure to (S,) values in the unit of `MEASURES`, NaN where not measured;
    a measure that no shell has is absent. ``u_own``, where known, likewise: each value's own
    standard uncertainty.
    """

    ids: tuple[str, ...]
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    x_mm: Floats
    y_mm: Floats
    values: Mapping[str, Floats]
    u_own: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True)
class Bake:
    """One bake of the history; ``camera`` of its first photo, None where it was not kept."""

    facts: BakeFacts
    shells: BakeShells
    camera: CameraDoubt | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """Something changed for good: a new oven, a moved rack, another heater, a new nozzle."""

    at: datetime
    oven: str | None  # None: the whole kitchen
    what: str
