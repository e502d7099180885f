"""A made-up history as records and a table of facts, ready for `petitpied log --facts`."""

import csv
import io
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

from petitpied import __version__
from petitpied.domain.bake import Bake
from petitpied.domain.card import outline_corners_mm
from petitpied.domain.errors import OwnFileError
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import PhotoFacts, Record, SeenCard, TrayPlace
from petitpied.domain.shell import Shell
from petitpied.domain.view import View
from petitpied.files.records.record_files import record_bytes
from petitpied.patterns.oven.synthetic import U_OWN_MM, Planted
from petitpied.patterns.oven.templates import NAMED

FACTS_NAME = "facts.csv"
FACTS_COLUMNS = ("record", "oven", "rack", "turn", "at", "flavour", "note")
NOTE = "made up by petitpied simulate: Atelier Brume, no real kitchen"
#: the made-up camera: straight above, 700 mm, 4 pixels a millimetre
CAMERA_MM, PX_PER_MM = 700.0, 4.0
WIDTH_PX, HEIGHT_PX = 2400, 1800
#: uncertainty that a photo's shells share, mm
U_SHARED_MM = 0.1
U_OWN_BROWNING = 0.2  # Delta E00
OUTLINE_POINTS = 24


def parse_planted(text: str) -> Planted:
    """From "across:1.5", "spot:1.0:120,-70" (place, mm) or "lean:0.4:1,0" (direction).

    Raises
    ------
    OwnFileError
        If it is none of these.
    """
    parts = text.split(":")
    try:
        kind, size = parts[0].strip(), float(parts[1])
        if kind not in (*NAMED, "spot", "lean") or len(parts) > 3 or abs(size) > 100:
            raise ValueError
        place = (0.0, 0.0)
        if len(parts) == 3:
            x, y = (float(v) for v in parts[2].split(","))
            place = (x, y)
        elif kind == "lean":
            place = (0.0, 1.0)
        if not np.isfinite([size, *place]).all():
            raise ValueError
    except (IndexError, ValueError):
        raise OwnFileError(
            what=f"an effect {text[:40]!r} cannot be planted",
            why="it is not KIND:SIZE or KIND:SIZE:X,Y",
            next_step="write it as across:1.5, front-back:1, centre-edge:0.8, spot:1:120,-70 or "
            "lean:0.4:1,0",
        ) from None
    return Planted(kind, size, place)  # type: ignore[arg-type]


def history_files(bakes: tuple[Bake, ...]) -> dict[str, bytes]:
    """Names to contents: a record a bake, and the table of facts, columns `FACTS_COLUMNS`."""
    width = len(str(len(bakes)))
    names = [f"bake_{number + 1:0{width}d}.json" for number in range(len(bakes))]
    files = {
        name: record_bytes(_record(bake, name)) for name, bake in zip(names, bakes, strict=True)
    }
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow(FACTS_COLUMNS)
    for name, bake in zip(names, bakes, strict=True):
        facts = bake.facts
        at = facts.baked_at.isoformat(timespec="minutes")
        writer.writerow(
            [name, facts.oven, facts.rack or "", facts.turn_deg, at, facts.flavour or "", NOTE]
        )
    files[FACTS_NAME] = table.getvalue().encode()
    return files


def _record(bake: Bake, name: str) -> Record:
    matrix = np.array(
        [
            [CAMERA_MM * PX_PER_MM, 0, WIDTH_PX / 2],
            [0, CAMERA_MM * PX_PER_MM, HEIGHT_PX / 2],
            [0, 0, 1.0],
        ]
    )
    pose = np.column_stack([np.eye(3), [0.0, 0.0, CAMERA_MM]])
    view = View.exact(matrix, np.zeros(5), pose)
    corners = view.project(outline_corners_mm() + np.array([-42.8, 160.0]))
    shells = bake.shells
    facts = PhotoFacts(
        f"{PurePath(name).stem}.jpg", bake.facts.photo_sha256, WIDTH_PX, HEIGHT_PX,
        bake.facts.baked_at.replace(tzinfo=None).isoformat(timespec="seconds"), None,
    )  # fmt: skip
    return Record(
        tool_version=__version__,
        photo=facts,
        scale_source="cards",
        view=view,
        cards=(SeenCard("A", corners),),
        px_per_mm=PX_PER_MM,
        tray=TrayPlace(
            "lattice", int(shells.rows.max()) + 1, int(shells.columns.max()) + 1, "card"
        ),
        shells=tuple(_shell(bake, view, i) for i in range(len(shells.ids))),
        heights_mm={"cap_rim": Quantity(5.6, 0.0, 0.4), "foot": Quantity(1.5, 0.0, 0.5)},
        heights_source="default",
    )


def _shell(bake: Bake, view: View, i: int) -> Shell:
    """One shell, as if measured: outlines are circles of its diameters."""
    shells = bake.shells
    value = {name: float(values[i]) for name, values in shells.values.items()}
    centre = (float(shells.x_mm[i]), float(shells.y_mm[i]))
    diameter = max(value["diameter"], 5.0)
    cap = max(value["cap_diameter"], 4.0)
    middle = view.project(np.array([centre]))[0]
    lean = float(np.hypot(value["lean_x"], value["lean_y"]))

    def size(name: str) -> Quantity | None:
        return Quantity(value[name], U_OWN_MM, U_SHARED_MM) if name in value else None

    return Shell(
        id=shells.ids[i],
        row=int(shells.rows[i]),
        column=int(shells.columns[i]),
        centre_px=(float(middle[0]), float(middle[1])),
        centre_mm=centre,
        outline_px=view.project(_circle(centre, diameter)),
        cap_outline_px=view.project(_circle(centre, min(cap, diameter))),
        diameter_mm=Quantity(diameter, U_OWN_MM, U_SHARED_MM),
        cap_diameter_mm=Quantity(cap, U_OWN_MM, U_SHARED_MM),
        foot_diameter_mm=Quantity(diameter, U_OWN_MM, U_SHARED_MM),
        browning=Quantity(value["browning"], U_OWN_BROWNING),
        lean_mm=Quantity(lean, U_OWN_MM),
        lean_dir_deg=float(np.rad2deg(np.arctan2(value["lean_y"], value["lean_x"]))),
        roundness_mm=size("roundness"),
        foot_spread_mm=size("foot_spread"),
        height_mm=size("height"),
        piped_diameter_mm=size("piped_diameter"),
        growth=size("growth"),
    )


def _circle(centre_mm: tuple[float, float], diameter_mm: float) -> NDArray[np.float64]:
    t = np.linspace(0, 2 * np.pi, OUTLINE_POINTS, endpoint=False)
    circle = diameter_mm / 2 * np.column_stack([np.cos(t), np.sin(t)])
    return np.asarray(centre_mm + circle, float)
