"""Records made by hand, for tests of files, pictures and commands; no photo is read."""

import numpy as np

from petitpied.domain.quantity import Quantity
from petitpied.domain.record import PhotoFacts, Record, SeenCard, TrayPlace
from petitpied.domain.shell import Shell
from petitpied.domain.view import View, rotation_matrix

PX_PER_MM = 4.0


def circle(centre, radius, count=72):
    t = np.linspace(0, 2 * np.pi, count, endpoint=False)
    return np.column_stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)])


def a_view(height_mm=700.0, centre_px=(800.0, 600.0)):
    """A camera that looks down at the tray's middle, a little tilted."""
    focal = PX_PER_MM * height_mm
    matrix = [[focal, 0, centre_px[0]], [0, focal, centre_px[1]], [0, 0, 1]]
    pose = np.column_stack([rotation_matrix([0.01, -0.02, 0.005]), [0.5, -0.7, height_mm]])
    view = View.exact(matrix, [0.01, -0.02, 0.0, 0.001, 0.0], pose)
    return View(view.camera_matrix, view.dist, view.world_to_camera, np.eye(8) * 1e-6)


def a_shell(shell_id="A1", row=0, column=0, size_mm=42.0, **changes):
    centre_mm = (-100.0 + 55 * column, -80.0 + 55 * row)
    centre_px = (800 + PX_PER_MM * centre_mm[0], 600 + PX_PER_MM * centre_mm[1])
    values = {
        "centre_px": centre_px,
        "centre_mm": centre_mm,
        "outline_px": circle(centre_px, PX_PER_MM * size_mm / 2),
        "cap_outline_px": circle(centre_px, PX_PER_MM * (size_mm / 2 - 1.5)),
        "diameter_mm": Quantity(size_mm, 0.08, 0.1),
        "cap_diameter_mm": Quantity(size_mm - 3, 0.1, 0.1),
        "foot_diameter_mm": Quantity(size_mm, 0.09, 0.1),
        "feret_min_mm": Quantity(size_mm * 0.99, 0.1, 0.1),
        "feret_max_mm": Quantity(size_mm * 1.01, 0.1, 0.1),
        "roundness_mm": Quantity(0.6, 0.1),
        "circularity": Quantity(0.99, 0.002),
        "aspect_ratio": Quantity(0.98, 0.003),
        "foot_spread_mm": Quantity(1.5, 0.15),
        "lean_mm": Quantity(0.4, 0.1),
        "lean_dir_deg": -30.0,
        "height_mm": Quantity(13.0, 0.5, 0.5),
        "diameter_rel": size_mm / 42.0,
    }
    return Shell(id=shell_id, row=row, column=column, **(values | changes))


def unmeasured_shell(shell_id="A9", reason="cut by the edge of the photo", **changes):
    names = [f.name for f in a_shell().__dataclass_fields__.values()]
    empty = {n: None for n in names if n.endswith("_mm") and n != "centre_mm"}
    empty |= dict.fromkeys(("circularity", "aspect_ratio", "lean_dir_deg", "diameter_rel"))
    return a_shell(shell_id, cap_outline_px=None, not_measured=reason, **(empty | changes))


def a_record(shells=None, **changes):
    if shells is None:
        random = np.random.default_rng(7)
        shells = [
            a_shell(f"{'ABCD'[r]}{c + 1}", r, c, 42 + float(random.normal(0, 0.4)))
            for r in range(4)
            for c in range(4)
        ]
    corners = 1100 + np.array([[0, 0], [342, 0], [342, 216], [0, 216]], float)
    values = {
        "tool_version": "0.1.0",
        "photo": PhotoFacts("tray.jpg", "0" * 64, 1600, 1200, "2026-03-08T09:15:00", "PO-7"),
        "scale_source": "cards",
        "view": a_view(),
        "cards": (SeenCard("A", corners - (0, 200)),),
        "px_per_mm": PX_PER_MM,
        "tray": TrayPlace("lattice", 4, 4, "card"),
        "shells": tuple(shells),
        "heights_mm": {"cap_rim": Quantity(5.6, 0.0, 0.4), "foot": Quantity(1.5, 0.0, 0.5)},
        "heights_source": "default",
    }
    return Record(**(values | changes))


def relative_record():
    """As made without a card: no millimetres at all."""
    names = [n for n in a_shell().__dataclass_fields__ if n.endswith("_mm")]
    shells = [
        a_shell(f"A{c + 1}", 0, c, 40.0 + c, **dict.fromkeys(names), lean_dir_deg=None)
        for c in range(6)
    ]
    return a_record(
        shells, scale_source="none", view=None, cards=(), px_per_mm=None, tray=None,
        heights_mm={}, heights_source="none",
    )  # fmt: skip
