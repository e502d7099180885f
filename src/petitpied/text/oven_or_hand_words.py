"""Oven or hand: who is it, what cannot be told, what would tell, and the next bakes."""

from typing import Any

from petitpied.patterns.oven.findings import Finding
from petitpied.patterns.oven.oven_or_hand import LEAST_EACH, SECOND_ALPHA, OvenOrHand
from petitpied.patterns.oven.templates import Region
from petitpied.patterns.oven.turns_in_time import LEAST_MIXED
from petitpied.statistics.sign_flips import LEAST_UNITS
from petitpied.text.oven_doubt_words import camera_json, camera_words
from petitpied.text.oven_map_words import (
    MEASURE_WORDS,
    amount,
    effect_json,
    finding_json,
    p_words,
    unit_words,
)
from petitpied.text.place_words import direction_words, place_words
from petitpied.text.wording import decimals, printable

Json = dict[str, Any]

WOULD_TELL = (
    "a photo before baking (inspect AFTER.jpg --before BEFORE.jpg) shows the piping alone",
    "the same piping in another oven",
    "a quarter turn, if the tray is square",
)
#: a half-sheet tray stands for the region where only a place's side is worded
_SIDES = Region((0.0, 0.0), (200.0, 140.0), 60.0)


def part_words(found: OvenOrHand, part: Finding, frame: str) -> str:
    """What a part says, a clause; ``frame``: where left, right and door are meant."""
    effect = part.effect
    if effect is None:
        return part.why
    size = amount(abs(effect.value), effect.u95, effect.unit)
    if found.measure == "lean":
        way = direction_words(effect.direction_deg or 0.0)
        return f"a lean of {size} towards {way} of the {frame}"
    _, more, less = MEASURE_WORDS[found.measure]
    word = more if effect.value >= 0 else less
    if part.kind == "across":
        return f"shells on the right of the {frame} {size} {word} than on the left"
    if part.kind == "front-back":
        return f"shells at the door side of the {frame} {size} {word} than at its back"
    if part.kind == "centre-edge":
        return f"shells at the edge of the {frame} {size} {word} than in the middle"
    if part.kind == "lean":
        way = "right" if found.measure == "lean_x" else "door"
        lean = amount(effect.value, effect.u95, effect.unit)
        return f"shells lean {lean} to the {way} of the {frame}"
    place = place_words(part.place_mm or (0.0, 0.0), _SIDES)
    other = "the others around" if found.split else "at the opposite place"
    return f"shells {place} of the {frame} {size} {word} than {other}"


def verdict(found: OvenOrHand) -> str:
    """Two or three sentences: which side, and what stays open."""
    if found.oven is None or found.hand is None:
        return _not_yet(found)
    told = []
    for part, who, frame in ((found.oven, "oven", "oven"), (found.hand, "hand", "tray as piped")):
        if part.stands_out:
            camera = who == "oven" and found.camera is not None and not found.camera.cleared
            whom = f"{who} or the camera" if camera else who
            told.append(f"It follows the {whom}: {part_words(found, part, frame)}.")
    if len(told) == 2:
        told = [t.replace("It follows", "One part follows" if not i else "Another part follows")
                for i, t in enumerate(told)]  # fmt: skip
    how = "by photos before the bake" if found.split else (
        f"by {found.unturned} bakes straight and {found.turned} turned"
    )  # fmt: skip
    if not told:
        return (
            f"Nothing stood out from chance on either side, told {how}. "
            "Oven or hand may still have a part too small for so many bakes."
        )
    doubt = (
        " The other side is not cleared: it is near the threshold, and more bakes would tell."
        if found.second_doubtful
        else ""
    )
    return f"{' '.join(told)} Told {how}.{doubt}"


def _not_yet(found: OvenOrHand) -> str:
    if found.mixed < LEAST_MIXED and found.turned and found.unturned and (
        found.units >= LEAST_UNITS
    ):  # fmt: skip
        return (
            "Cannot tell: straight and turned bakes lie apart in time, so a change of the oven "
            "between them would look like the hand, and the other way round. Bake straight and "
            "turned by turns, from day to day and within a day."
        )
    if found.unturned + found.turned >= LEAST_UNITS and min(found.unturned, found.turned) >= (
        LEAST_EACH
    ):
        return (
            "All shells of every bake read the same, so there is nothing to tell apart. "
            "Check that the records are the right ones."
        )
    return (
        f"Oven and hand cannot be told apart yet: {found.unturned} bakes straight, {found.turned} "
        f"turned. It takes at least {LEAST_UNITS} days or batters, {LEAST_EACH} or more each way "
        "round."
    )


def cannot_tell(found: OvenOrHand) -> list[Json]:
    """What these bakes cannot attribute, why, and what would tell."""
    result: list[Json] = []
    if found.oven is None:
        result.append(
            _open("odd", "slopes and lopsided patterns: too few bakes each way round",
                  ["turn the tray by half in some of the next bakes"])
        )  # fmt: skip
    if found.second_doubtful:
        share = f"{100 * SECOND_ALPHA:g} %"
        result.append(
            _open("other side", f"below 5 %, but a second side must be surer than {share}",
                  ["more bakes, as many turned as straight"])
        )  # fmt: skip
    if found.split:
        result.append(
            _open("piped size itself", "a shell piped larger may also grow more in the oven; "
                  "growth counts as the oven's", ["pipe some trays with a template"])
        )  # fmt: skip
        return result
    pointing = found.measure in ("lean", "lean_x", "lean_y")
    what = (
        "slopes of the lean over the tray" if pointing else
        "a ring round the edge, a middle, or the same at opposite places"
    )  # fmt: skip
    if found.even is not None and found.even.stands_out:
        what = (
            f"{what}: {part_words(found, found.even, 'tray')}, and a half turn leaves it as it is"
        )
        what = what.replace("at the opposite place", "the rest, with the opposite place alike")
    else:
        what = f"{what}: a half turn leaves it as it is"
    result.append(_open("even", what, list(WOULD_TELL)))
    return result


def _open(part: str, text: str, would_tell: list[str]) -> Json:
    return {"part": part, "text": printable(text), "would_tell": would_tell}


def plan(found: OvenOrHand) -> list[Json]:
    """The next bakes: which to turn, how many, what they could show."""
    result: list[Json] = []
    for step in found.plan:
        way = "turned by half" if step.turn_deg == 180 else "straight"
        count = f"{step.bakes} bake{'' if step.bakes == 1 else 's'}"
        text = f"{count} {way}"
        smallest: Json | None = None
        if step.smallest_effect_80 is not None:
            value = step.smallest_effect_80
            smallest = {"value": round(value, 5), "unit": found.unit}
            text += (
                f"; all bakes together then find a difference between opposite sides of "
                f"{value:.{decimals(value)}f} {found.unit} 4 times in 5"
            )
        result.append(
            {"bakes": step.bakes, "turn": step.turn_deg, "smallest_effect_80": smallest,
             "text": text}
        )  # fmt: skip
    if len(result) > 1:
        result[-1]["text"] += (
            "; turned and straight ones by turns, from day to day and within a day"
        )
    return result


def lines(found: OvenOrHand, where: str) -> list[str]:
    """What `petitpied oven-or-hand` prints."""
    name = MEASURE_WORDS[found.measure][0]
    bakes = found.unturned + found.turned
    units = f"; {unit_words(bakes, found.units)}" if found.units < bakes else ""
    result = [
        f"{name[:1].upper()}{name[1:]}, {where}: {found.unturned} bakes straight, "
        f"{found.turned} turned{units}.",
        verdict(found),
    ]
    for part, who, frame in ((found.oven, "oven", "oven"), (found.hand, "hand", "tray as piped")):
        if part is not None and part.p_adjusted is not None:
            mark = "stands out" if part.stands_out else "no"
            said = part_words(found, part, frame)
            result.append(f"  {who:<5} {mark:<10} {p_words(part.p_adjusted):<9}  {said}")
    if found.camera is not None:
        result.append(camera_words(found.camera, found.unit))
    for one in cannot_tell(found):
        result.append(f"Cannot tell: {one['text']}. What would: {'; '.join(one['would_tell'])}.")
    for step in plan(found):
        result.append(f"Next: {step['text']}.")
    return [printable(line) for line in result]


def sides_json(found: OvenOrHand, oven: str, rack: str | None) -> Json:
    """The contract of ``--json``."""
    return {
        "oven": oven,
        "rack": rack,
        "measure": found.measure,
        "unturned": found.unturned,
        "turned": found.turned,
        "independent_units": found.units,
        "mixed_in_time": round(found.mixed, 3),
        "told_by": "photos before" if found.split else "turning",
        "oven_part": _part_json(found.oven, found),
        "hand_part": _part_json(found.hand, found),
        "even_part": None if found.even is None else finding_json(found.even, found.unit),
        "camera": camera_json(found.camera, found.unit),
        "cannot_tell": cannot_tell(found),
        "plan": plan(found),
        "text": verdict(found),
    }


def _part_json(part: Finding | None, found: OvenOrHand) -> Json:
    if part is None:
        return {
            "effect": effect_json(None, found.unit),
            "p_adjusted": None,
            "stands_out": False,
            "kind": None,
            "place_mm": None,
            "why": "cannot be told with these bakes",
        }
    return finding_json(part, found.unit)
