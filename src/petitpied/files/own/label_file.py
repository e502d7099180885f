"""The baker's file of what stands on a box's label (TOML): a starter, and reading with checks."""

from pathlib import Path
from typing import Any

from petitpied.domain.own_file import OwnFile, quoted
from petitpied.files.own.own_file import read_own_file
from petitpied.files.own.recipe_file import read_recipe
from petitpied.labels.allergens import WORDS
from petitpied.labels.colours import Colour, colour_of
from petitpied.labels.label import Filling, Product, Region

LABEL_STARTER = """\
# What stands on the label of a box. A draft: check it with your authority.
# Every filling must say which allergens it holds: [] if none. Nothing is taken to be free of any.

made_for = "eu"                    # "eu", "uk" or "us": whose rules the checklist follows
name = "Macarons with raspberry filling"
recipe = "recipe.toml"             # of the shells, beside this file
business = ["Atelier Brume", "1 Cloud Lane", "Newtown"]
date = "Best before 12 March 2026"  # or "Use by ...", as you decide
storage = "Keep at 5 °C or less."
net_g = 114                        # what the filled box holds, weighed
colours = []                       # of the shells, by number: ["E162"]
may_contain = []                   # what else is handled in your kitchen: ["peanut"]

[[filling]]
name = "raspberry"
grams = 6.0                        # in one macaron
macarons = 6                       # of the box with this filling
contains = ["milk", "soya"]        # egg, gluten, peanut, sesame, sulphites too; nuts by name
colours = []

[filling.weights_g]                # grams, for any amount of it
"white chocolate (sugar, cocoa butter, milk powder, soya lecithin)" = 100
"raspberries" = 50
"cream (milk)" = 40
"""
TOP = (
    *("made_for", "name", "recipe", "business", "date", "storage", "net_g", "colours"),
    *("may_contain", "filling"),
)
FILLING = ("name", "grams", "macarons", "contains", "colours", "weights_g")
REGIONS: tuple[Region, ...] = ("eu", "uk", "us")
MOST_FILLINGS, MOST_LINES, MOST_INGREDIENTS = 24, 6, 60
LETTERS = 200


def read_label(path: Path) -> Product:
    """What the baker states of a box.

    Raises
    ------
    OwnFileError
        If the file or its recipe cannot be read, or holds a fault: with the line.
    """
    file = read_own_file(path, "label file")
    content = file.only(file.content, (), TOP)
    for key in ("made_for", "name", "recipe", "business", "date", "storage", "net_g", "filling"):
        if key not in content:
            raise file.fault((key,), f"{key} is missing", f"a line {key} = ..., as in --new")
    region = content["made_for"]
    if region not in REGIONS:
        raise file.fault(("made_for",), f"{quoted(region)} is no region", ", ".join(REGIONS))
    return Product(
        region=region,
        name=_text(file, content, "name"),
        business=_texts(file, content["business"], ("business",), MOST_LINES),
        date=_text(file, content, "date"),
        storage=_text(file, content, "storage"),
        recipe=read_recipe(path.parent / _text(file, content, "recipe")),
        fillings=_fillings(file, content["filling"]),
        net_g=file.number(content["net_g"], ("net_g",), 1.0, 100_000.0),
        colours=_colours(file, content.get("colours", []), ("colours",)),
        may_contain=_allergens(file, content.get("may_contain", []), ("may_contain",)),
    )


def _text(file: OwnFile, table: dict[str, Any], key: str, *place: str) -> str:
    words = file.words(table[key], (*place, key), LETTERS).strip()
    if not words:
        raise file.fault((*place, key), f"{key} is empty", f'{key} = "..."')
    return words


def _texts(file: OwnFile, given: Any, place: tuple[str, ...], most: int) -> tuple[str, ...]:
    if not isinstance(given, list) or len(given) > most:
        why = f"{place[-1]} is no list of at most {most} texts"
        raise file.fault(place, why, f'{place[-1]} = ["...", "..."]')
    return tuple(file.words(text, place, LETTERS) for text in given)


def _fillings(file: OwnFile, given: Any) -> tuple[Filling, ...]:
    if not isinstance(given, list) or not 0 < len(given) <= MOST_FILLINGS:
        raise file.fault(("filling",), "there is no [[filling]]", f"1 to {MOST_FILLINGS} of them")
    return tuple(_filling(file, one) for one in given)


def _filling(file: OwnFile, given: Any) -> Filling:
    table = file.only(given, ("filling",), FILLING)
    for key in ("name", "grams", "macarons", "weights_g"):
        if key not in table:
            raise file.fault(("filling",), f"a filling has no {key}", f"a line {key} = ...")
    name = _text(file, table, "name", "filling")
    if "contains" not in table:
        why = f"the filling {quoted(name)} does not say which allergens it holds"
        allowed = 'contains = ["milk"] and so on, or contains = [] if it holds none'
        raise file.fault(("filling", "name"), why, allowed)
    weights = table["weights_g"]
    if not isinstance(weights, dict) or not 0 < len(weights) <= MOST_INGREDIENTS:
        why = f"the filling {quoted(name)} has no ingredients"
        raise file.fault(("filling", "weights_g"), why, 'weights_g = { "cream (milk)" = 100 }')
    place = ("filling", "weights_g")
    return Filling(
        name=name,
        grams=file.number(table["grams"], ("filling", "grams"), 0.1, 500.0),
        macarons=file.whole(table["macarons"], ("filling", "macarons"), 1, 1000),
        weights_g=tuple(
            (file.words(part, place, LETTERS), file.number(g, (*place, part), 0.001, 1e6))
            for part, g in weights.items()
        ),
        contains=_allergens(file, table["contains"], ("filling", "contains")),
        colours=_colours(file, table.get("colours", []), ("filling", "colours")),
    )


def _allergens(file: OwnFile, given: Any, place: tuple[str, ...]) -> tuple[str, ...]:
    known = {name.casefold(): name for name in WORDS}
    known |= {"soy": "soya", "wheat": "gluten", "sulfites": "sulphites"}
    found = []
    for text in _texts(file, given, place, len(known)):
        if text.casefold() not in known:
            nut = "name the nut: " if text.casefold() in ("nut", "nuts", "tree nuts") else ""
            why = f"{quoted(text)} is no allergen of the list"
            raise file.fault(place, why, nut + ", ".join(WORDS))
        found.append(known[text.casefold()])
    return tuple(dict.fromkeys(found))


def _colours(file: OwnFile, given: Any, place: tuple[str, ...]) -> tuple[Colour, ...]:
    found = []
    for code in _texts(file, given, place, 40):
        try:
            found.append(colour_of(code))
        except KeyError:
            why = f"{quoted(code)} is no colour that is known"
            allowed = "E numbers from the tin, such as E120 or E162; ask its maker"
            raise file.fault(place, why, allowed) from None
    return tuple(found)
