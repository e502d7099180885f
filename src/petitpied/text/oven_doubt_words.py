"""What else may have made an oven's pattern: the camera, or shells that are missing."""

from typing import Any

from petitpied.patterns.oven.findings import CameraSuspect, OvenMap
from petitpied.text.place_words import place_words
from petitpied.text.wording import decimals

Json = dict[str, Any]

#: what tells the camera from the oven
SETTLES = (
    "To settle it, take a second photo of the next three trays, each with the tray and its card "
    "turned by half under the camera, and log both; or photograph from the other side on three days"
)


def missing_words(found: OvenMap) -> str:
    """Where shells are missing or not measured, and what is withheld for it; "" where few are."""
    missing = found.missing
    if missing is None or not missing.uneven:
        return ""
    by_place: dict[str, int] = {}
    for x, y, count in missing.places:
        words = place_words((x, y), found.region)
        by_place[words] = by_place.get(words, 0) + count
    most = sorted(by_place.items(), key=lambda item: -item[1])[:2]
    where = " and ".join(f"{count} {words}" for words, count in most)
    text = (
        f"{missing.count} shells are missing or were not measured, not the same number everywhere: "
        f"{where}."
    )
    if any(f.why.startswith("withheld") for f in found.findings):
        text += (
            " What they may have been like could make a pattern by itself, so it is withheld: "
            "photograph so that all shells are measured, or count those that you took out."
        )
    return text


def camera_words(camera: CameraSuspect | None, unit: str) -> str:
    """Whether it may be the camera as well, and what settles it; "" where it was not looked at."""
    if camera is None:
        return ""
    could = ""
    if camera.could_fake is not None:
        places = decimals(max(camera.could_fake, 1e-6))
        could = f"{camera.could_fake:.{places}f} {unit}"
    if camera.cleared and camera.by == "size":
        return f"Not the camera: with its lens profile it could fake {could} of it at most."
    if camera.cleared:
        return "Not the camera: seen from several sides of the tray, it stays with the oven."
    begin = "It may be the camera, the lens or the light as well as the oven"
    if camera.sides is None:
        return f"{begin}: from which side the photos were taken is not known. {SETTLES}."
    of_size = f", and a usual lens could fake {could} of it" if could else ""
    if min(camera.sides) == 0:
        return f"{begin}: all photos were taken from one side of the tray{of_size}. {SETTLES}."
    few, many = min(camera.sides), max(camera.sides)
    return (
        f"{begin}: {few} of {few + many} days or batters seen from another side do not tell them "
        f"apart{of_size}. {SETTLES}."
    )


def camera_json(camera: CameraSuspect | None, unit: str) -> Json | None:
    if camera is None:
        return None
    could = camera.could_fake
    return {
        "cleared": camera.cleared,
        "by": camera.by or None,
        "could_fake": {"value": None if could is None else round(could, 5), "unit": unit},
        "units_by_side": None if camera.sides is None else list(camera.sides),
        "text": camera_words(camera, unit),
    }


def missing_json(found: OvenMap) -> Json | None:
    if found.missing is None:
        return None
    return {
        "bakes": found.missing.bakes,
        "places": [
            {"place_mm": [round(x, 1), round(y, 1)], "missing": n}
            for x, y, n in found.missing.places
        ],
        "goes_with_place": found.missing.uneven,
    }
