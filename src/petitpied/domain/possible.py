"""What a measure of a shell can be at all: wider than any bake, only damage falls outside."""

#: measure to lowest and highest possible value, in the unit of its name (browning: Delta E00);
#: sizes: nothing on a home or shop tray is larger than the tray (600 mm), common practice
POSSIBLE: dict[str, tuple[float, float]] = {
    "diameter_mm": (1.0, 600.0),
    "cap_diameter_mm": (1.0, 600.0),
    "foot_diameter_mm": (1.0, 600.0),
    "feret_min_mm": (1.0, 600.0),
    "feret_max_mm": (1.0, 900.0),  # the tray's diagonal
    "piped_diameter_mm": (1.0, 600.0),
    "growth": (-300.0, 300.0),  # mm
    "roundness_mm": (0.0, 300.0),
    "foot_spread_mm": (-100.0, 100.0),
    "lean_mm": (0.0, 300.0),
    "height_mm": (-20.0, 200.0),  # noise may take a flat one below the liner
    "crack_length_mm": (0.0, 10_000.0),
    "lumpiness_mm": (0.0, 100.0),
    "circularity": (0.0, 1.05),  # 1 at most, but for the outline's pixels (ISO 9276-6)
    "aspect_ratio": (0.0, 1.001),
    "browning": (-200.0, 200.0),
    "edge_browning": (-200.0, 200.0),
}
#: largest standard uncertainty of any of them: more says nothing, and is damage
LARGEST_U = 10_000.0
#: the same of the history's columns that are no measure of the record by name
BY_COLUMN: dict[str, tuple[float, float]] = {
    **{name.removesuffix("_mm"): bounds for name, bounds in POSSIBLE.items()},
    "cracks": POSSIBLE["crack_length_mm"],
    "lean_x": (-300.0, 300.0),
    "lean_y": (-300.0, 300.0),
    "x_mm": (-10_000.0, 10_000.0),
    "y_mm": (-10_000.0, 10_000.0),
    "row": (0.0, 200.0),
    "column": (0.0, 200.0),
}
