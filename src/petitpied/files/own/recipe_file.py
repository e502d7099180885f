"""The baker's recipe file (TOML): a starter to write, and reading with every check."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from petitpied.domain.errors import OwnFileError
from petitpied.files.own.own_file import line_of, read_own_toml
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
#: section to its keys: least value, greatest value, whole number
NUMBERS = {
    ("shells", "batter_g"): (0.1, 1000.0, False),
    ("shells", "lost"): (0.0, 0.9, False),
    ("shells", "on_a_tray"): (1, 10_000, True),
    ("box", "macarons"): (1, 1000, True),
}
MAX_WEIGHT_G = 1e6
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
    text, data = read_own_toml(path, "recipe")
    return _recipe(text, data, printable(path.name))


def _recipe(text: str, data: Mapping[str, Any], file: str) -> Recipe:
    known = {"name", "weights_g", "shells", "box"}
    for key in data:
        if key not in known:
            why = f'"{printable(key)[:40]}" is not known'
            raise _fault(file, text, key, why, f"known are {', '.join(sorted(known))}")
    weights = _weights(text, data.get("weights_g"), file)
    egg_white = [name for name, _ in weights if EGG_WHITE.match(name.strip().lower())]
    if len(egg_white) != 1:
        raise _fault(
            file, text, "weights_g",
            "no egg white among the weights" if not egg_white else "two egg whites",
            'have one line "egg white" = GRAMS: the others are scaled to it',
        )  # fmt: skip
    numbers = {key: _number(text, data, key, file) for key in NUMBERS}
    name = data.get("name", "")
    if not isinstance(name, str):
        raise _fault(file, text, "name", "name is no text", 'write name = "..."')
    return Recipe(
        name=printable(name)[:NAME_LETTERS],
        weights_g=weights,
        egg_white=egg_white[0],
        batter_g_per_shell=numbers["shells", "batter_g"],
        lost_rel=numbers["shells", "lost"],
        macarons_per_box=int(numbers["box", "macarons"]),
        shells_per_tray=int(numbers["shells", "on_a_tray"]),
    )


def _weights(text: str, given: Any, file: str) -> tuple[tuple[str, float], ...]:
    if not isinstance(given, dict) or not given:
        raise _fault(
            file, text, "weights_g", "there is no [weights_g] with the ingredients",
            'begin with the starter: petitpied batch --new',
        )  # fmt: skip
    if len(given) > MAX_INGREDIENTS:
        raise _fault(file, text, "weights_g", "too many ingredients", f"at most {MAX_INGREDIENTS}")
    weights = []
    for name, value in given.items():
        if not _is_number(value) or not 0 < value <= MAX_WEIGHT_G:
            shown = printable(str(value))[:20]
            raise _fault(
                file, text, name, f'"{printable(name)[:40]}" weighs {shown}',
                "give grams, more than 0",
            )  # fmt: skip
        weights.append((printable(name)[:NAME_LETTERS], float(value)))
    return tuple(weights)


def _number(text: str, data: Mapping[str, Any], place: tuple[str, str], file: str) -> float:
    section, key = place
    low, high, whole = NUMBERS[place]
    part = data.get(section)
    value = part.get(key) if isinstance(part, dict) else None
    if value is None:
        raise _fault(file, text, section, f"[{section}] has no {key}", f"add a line {key} = NUMBER")
    kind = "a whole number" if whole else "a number"
    if not _is_number(value) or not low <= value <= high or (whole and value != int(value)):
        shown = printable(str(value))[:20]
        raise _fault(
            file, text, key, f"{key} is {shown}", f"give {kind} from {low:g} to {high:g}"
        )
    return float(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _fault(file: str, text: str, key: str, why: str, next_step: str) -> OwnFileError:
    return OwnFileError(
        what=f"recipe {file}{line_of(text, key)} cannot be used", why=why, next_step=next_step
    )
