"""The baker's recipe file (TOML): a starter to write, and reading with every check."""

import re
from pathlib import Path
from typing import Any

from petitpied.domain.own_file import OwnFile, quoted
from petitpied.files.own.own_file import read_own_file
from petitpied.piping.recipe import Recipe
from petitpied.text.wording import printable

#: names by which the egg white is known among the ingredients
EGG_WHITE = re.compile(r"^(egg[ _-]?whites?|white of egg|blancs? d'(œ|oe)ufs?|eiwei(ß|ss)|卵白)$")
#: the same as one portion of several: "egg white, for the syrup"
PORTION = re.compile(r"^(.*?)\s*[,(].*$")
_HEAD = """\
# A macaron recipe. The weights are common practice, not a finding of petitpied:
# put your own in. Any number of ingredients; one is the egg white, the base that the
# others are scaled to (or its portions: "egg white, for the paste", and so on).

name = "Starter recipe (common practice)"

[weights_g]            # grams
"""
_TAIL = """\

[shells]
batter_g = 9.0         # grams of batter a shell: pipe ten, weigh, divide by ten
lost = 0.08            # share of the batter left in bowl, bag and nozzle, 0 to 0.9
on_a_tray = 30         # shells on one tray

[box]
macarons = 6           # macarons in one box; each has two shells
"""
_FRENCH = """\
"egg white" = 100
"almond flour" = 130
"icing sugar" = 130
"sugar" = 90
"""
_SWISS = """\
"egg white" = 100      # warmed with the sugar over a water bath, then whipped
"sugar" = 100
"almond flour" = 125
"icing sugar" = 115

[meringue]
kind = "swiss"
"""
# a sucrose syrup at 118 degrees Celsius holds about 87 % sugar (from memory, not looked up): 150 g
# keep 22 g of 40 g water
_ITALIAN = """\
"almond flour" = 150
"icing sugar" = 150
"egg white, for the paste" = 55
"sugar, for the syrup" = 150
"water, for the syrup" = 40
"egg white, for the meringue" = 55

[meringue]
kind = "italian"
boiled_off_g = 18      # water that leaves the syrup: weigh the pot before and after
                       # (at 118 °C about 18 of 40 g; common practice, no source)
# batter_g = 582       # what your batter weighs: then it is checked that the parts add up
"""
STARTERS = {
    kind: _HEAD + weights + _TAIL
    for kind, weights in (("french", _FRENCH), ("swiss", _SWISS), ("italian", _ITALIAN))
}
STARTER = STARTERS["french"]
#: the batter as weighed may differ by so much from the sum of its parts: what sticks to bowls
#: (common practice, no source)
ADDS_UP_REL = 0.05
WEIGHTS_G = (0.001, 1e6)
MAX_INGREDIENTS = 60
NAME_LETTERS = 80


def read_recipe(path: Path) -> Recipe:
    """The recipe in a file.

    Raises
    ------
    OwnFileError
        If it cannot be read, is no TOML, lacks the egg white, or holds a wrong value: with
        the line.
    """
    file = read_own_file(path, "recipe")
    content = file.only(file.content, (), ("name", "weights_g", "meringue", "shells", "box"))
    weights = _weights(file, content.get("weights_g"))
    whites = _egg_whites(file, weights)
    meringue = _meringue(file, content.get("meringue", {}), weights)
    shells = _part(file, content, "shells", ("batter_g", "lost", "on_a_tray"))
    box = _part(file, content, "box", ("macarons",))
    return Recipe(
        name=file.words(content.get("name", ""), ("name",), NAME_LETTERS),
        weights_g=weights,
        egg_whites=whites,
        batter_g_per_shell=file.number(shells["batter_g"], ("shells", "batter_g"), 0.1, 1000),
        lost_rel=file.number(shells["lost"], ("shells", "lost"), 0.0, 0.9),
        macarons_per_box=file.whole(box["macarons"], ("box", "macarons"), 1, 1000),
        shells_per_tray=file.whole(shells["on_a_tray"], ("shells", "on_a_tray"), 1, 10_000),
        meringue=meringue[0],
        boiled_off_g=meringue[1],
    )


def _egg_whites(file: OwnFile, weights: tuple[tuple[str, float], ...]) -> tuple[str, ...]:
    """The egg white's name, or the names of its portions."""
    whole = [name for name, _ in weights if _is_egg_white(name)]
    portions = [
        name
        for name, _ in weights
        if (part := PORTION.match(name)) and _is_egg_white(part[1]) and name not in whole
    ]
    if len(whole) > 1 or not whole + portions:
        why = "two egg whites" if whole else "no egg white among the weights"
        allowed = (
            'one line "egg white" = GRAMS, which the others are scaled to, or portions such as '
            '"egg white, for the paste" = GRAMS'
        )
        raise file.fault(("weights_g",), why, allowed)
    return tuple(whole + portions)


def _is_egg_white(name: str) -> bool:
    return EGG_WHITE.match(name.strip().lower()) is not None


def _meringue(
    file: OwnFile, given: Any, weights: tuple[tuple[str, float], ...]
) -> tuple[str, float]:
    """The kind of meringue, and the water that boils off; checked against the weights."""
    table = file.only(given, ("meringue",), ("kind", "boiled_off_g", "batter_g"))
    kind = table.get("kind", "french")
    if kind not in STARTERS:
        why = f"{quoted(kind)} is no meringue"
        raise file.fault(("meringue", "kind"), why, ", ".join(STARTERS))
    place = ("meringue", "boiled_off_g")
    boiled_g = file.number(table.get("boiled_off_g", 0.0), place, 0.0, WEIGHTS_G[1])
    water_g = sum(grams for name, grams in weights if name.strip().lower().startswith("water"))
    if boiled_g > water_g:
        why = f"{boiled_g:g} g boil off, and the recipe holds {water_g:g} g of water"
        raise file.fault(place, why, 'a line "water, for the syrup", and less than it holds')
    total_g = sum(grams for _, grams in weights) - boiled_g
    if "batter_g" in table:
        place = ("meringue", "batter_g")
        weighed_g = file.number(table["batter_g"], place, *WEIGHTS_G)
        if abs(weighed_g - total_g) > ADDS_UP_REL * total_g:
            why = f"the batter weighs {weighed_g:g} g, but its parts add up to {total_g:g} g"
            raise file.fault(place, why, "weigh again, or correct a part")
    return kind, boiled_g


def _weights(file: OwnFile, given: Any) -> tuple[tuple[str, float], ...]:
    if not isinstance(given, dict) or not 0 < len(given) <= MAX_INGREDIENTS:
        why = "there is no [weights_g] with the ingredients"
        if isinstance(given, dict) and given:
            why = "too many ingredients"
        allowed = f"1 to {MAX_INGREDIENTS} ingredients, as in the starter: petitpied batch --new"
        raise file.fault(("weights_g",), why, allowed)
    return tuple(
        (printable(name)[:NAME_LETTERS], file.number(value, ("weights_g", name), *WEIGHTS_G))
        for name, value in given.items()
    )


def _part(
    file: OwnFile, content: dict[str, Any], section: str, keys: tuple[str, ...]
) -> dict[str, Any]:
    """A section that has all of its keys."""
    part = file.only(content.get(section, {}), (section,), keys)
    for key in keys:
        if key not in part:
            raise file.fault((section,), f"[{section}] has no {key}", f"{key} = a number")
    return part
