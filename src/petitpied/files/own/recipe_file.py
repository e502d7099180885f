"""The baker's recipe file (TOML): a starter to write, and reading with every check."""

import re
from pathlib import Path
from typing import Any

from petitpied.domain.own_file import OwnFile
from petitpied.files.own.own_file import read_own_file
from petitpied.piping.recipe import Recipe
from petitpied.text.wording import printable

#: names by which the egg white is known among the ingredients
EGG_WHITE = re.compile(r"^(egg[ _-]?whites?|white of egg|blancs? d'(œ|oe)ufs?|eiwei(ß|ss)|卵白)$")
STARTER = """\
# A macaron recipe. The weights are common practice, not a finding of petitpied:
# put your own in. Any number of ingredients; one of them must be the egg white,
# which is the base that the others are scaled to.

name = "Starter recipe (common practice)"

[weights_g]            # grams
"egg white" = 100
"almond flour" = 130
"icing sugar" = 130
"sugar" = 90

[shells]
batter_g = 9.0         # grams of batter a shell: pipe ten, weigh, divide by ten
lost = 0.08            # share of the batter left in bowl, bag and nozzle, 0 to 0.9
on_a_tray = 30         # shells on one tray

[box]
macarons = 6           # macarons in one box; each has two shells
"""
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
    content = file.only(file.content, (), ("name", "weights_g", "shells", "box"))
    weights = _weights(file, content.get("weights_g"))
    egg_white = [name for name, _ in weights if EGG_WHITE.match(name.strip().lower())]
    if len(egg_white) != 1:
        why = "two egg whites" if egg_white else "no egg white among the weights"
        allowed = 'one line "egg white" = GRAMS, which the others are scaled to'
        raise file.fault(("weights_g",), why, allowed)
    shells = _part(file, content, "shells", ("batter_g", "lost", "on_a_tray"))
    box = _part(file, content, "box", ("macarons",))
    return Recipe(
        name=file.words(content.get("name", ""), ("name",), NAME_LETTERS),
        weights_g=weights,
        egg_white=egg_white[0],
        batter_g_per_shell=file.number(shells["batter_g"], ("shells", "batter_g"), 0.1, 1000),
        lost_rel=file.number(shells["lost"], ("shells", "lost"), 0.0, 0.9),
        macarons_per_box=file.whole(box["macarons"], ("box", "macarons"), 1, 1000),
        shells_per_tray=file.whole(shells["on_a_tray"], ("shells", "on_a_tray"), 1, 10_000),
    )


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
