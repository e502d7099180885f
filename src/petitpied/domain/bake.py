"""A bake as the history keeps it: its facts, and its shells' values at their places."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BakeFacts:
    """What the baker knows of one bake: one tray, one time in the oven.

    ``photo_sha256`` is the bake's identity. ``turn_deg`` 180: the tray went into the oven
    turned by half, and stayed so; ``turned_halfway``: it was turned during the bake, so that no
    side of it was always on one side of the oven. Everything beyond photo, time and oven may be
    missing.
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
    bake_minutes: float | None = None
    thermometer_c: float | None = None  # read in the oven, beside the set temperature
    tray_number: int | None = None  # 1: the first tray of the batter
    doubled: bool | None = None  # a second tray under it
    turned_halfway: bool | None = None  # turned by half during the bake
    meringue: Literal["french", "swiss", "italian"] | None = None
    ribbon_seconds: float | None = None  # macaronage: until a ribbon of batter has sunk in
    whites_days: float | None = None  # age of the egg whites
    colouring: Literal["none", "powder", "gel", "liquid"] | None = None
    flour_lot: str | None = None  # of the almond flour
    piped_by: str | None = None
    # what no photo shows, counted by hand among the bake's shells
    hollow: int | None = None
    sticky: int | None = None  # bottoms that stick, or stay soft
    tough: int | None = None


@dataclass(frozen=True)
class BakeShells:
    """The measured shells of one bake, tray frame (x right, y towards the door), S shells.

    ``values``: one of `petitpied.domain.measures.STORED` to (S,) values, NaN where not measured;
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
    """One bake of the history."""

    facts: BakeFacts
    shells: BakeShells
