"""Places and directions on a tray, as a baker says them."""

from petitpied.patterns.oven.templates import Region


def place_words(place_mm: tuple[float, float], region: Region) -> str:
    """As in "at the back left": thirds of the region, door at the bottom."""
    rel = [(p - m) / h for p, m, h in zip(place_mm, region.middle_mm, region.half_mm, strict=True)]
    side = "left" if rel[0] < -1 / 3 else "right" if rel[0] > 1 / 3 else ""
    depth = "back" if rel[1] < -1 / 3 else "door side" if rel[1] > 1 / 3 else ""
    if not side and not depth:
        return "in the middle"
    if not side:
        return f"at the {'middle of the ' if depth == 'back' else ''}{depth}"
    if not depth:
        return f"at the {side}"
    return f"at the back {side}" if depth == "back" else f"near the door, {side}"


def direction_words(direction_deg: float) -> str:
    """Angle from +x (right) towards +y (door), as one of eight ways."""
    ways = ("the right", "the door, right", "the door", "the door, left", "the left",
            "the back left", "the back", "the back right")  # fmt: skip
    return ways[round(direction_deg / 45) % 8]
