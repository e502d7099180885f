"""From a recipe and fillings to the text of a box's label: a draft, for an authority to check.

Ingredients stand by weight as they were used, most first (Regulation (EU) 1169/2011, Article 18;
21 CFR 101.4); colours, which weigh next to nothing, at the end (less than 2 %: Annex VII, part A,
point 6, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from petitpied.labels.allergens import OF_SHELLS, US, found_in
from petitpied.labels.colours import CHILDREN, Colour
from petitpied.piping.recipe import Recipe

Region = Literal["eu", "uk", "us"]
OZ_G = 28.349523125  # avoirdupois ounce


@dataclass(frozen=True, slots=True)
class Filling:
    """One filling: grams in a macaron, how many macarons of the box have it, and its parts."""

    name: str
    grams: float
    macarons: int
    weights_g: tuple[tuple[str, float], ...]
    contains: tuple[str, ...]
    colours: tuple[Colour, ...] = ()


@dataclass(frozen=True, slots=True)
class Product:
    """What the baker states of a box; ``weight_shrink_rel``: water lost in baking, of the shells'
    batter. ``date`` as in "Best before 12 March 2026"."""

    region: Region
    name: str
    business: tuple[str, ...]
    date: str
    storage: str
    recipe: Recipe
    fillings: tuple[Filling, ...]
    net_g: float
    colours: tuple[Colour, ...] = ()
    may_contain: tuple[str, ...] = ()
    lot: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """A piece of text. ``allergen``: the law wants it emphasised; ``strong``: bold in print."""

    text: str
    strong: bool = False
    allergen: bool = False


@dataclass(frozen=True, slots=True)
class Label:
    """The label's paragraphs, in order, each of runs."""

    title: str
    paragraphs: tuple[tuple[Run, ...], ...]


def ingredients(product: Product) -> tuple[tuple[str, float], ...]:
    """Every ingredient of the box with its grams as used, most first; the same ingredient of
    shells and fillings once. Water that boils off does not count."""
    grams: dict[str, float] = {}
    macarons = sum(filling.macarons for filling in product.fillings)
    recipe = product.recipe
    factor = 2 * macarons * recipe.batter_g_per_shell / recipe.batter_g
    for name, weight in recipe.weights_g:
        used = weight - recipe.boiled_off_g if _is_water(name) else weight
        _add(grams, base_name(name), factor * max(0.0, used))
    for filling in product.fillings:
        total = sum(weight for _, weight in filling.weights_g)
        for name, weight in filling.weights_g:
            _add(grams, base_name(name), filling.macarons * filling.grams * weight / total)
    return tuple(sorted(grams.items(), key=lambda item: (-item[1], item[0])))


def _add(grams: dict[str, float], name: str, more: float) -> None:
    known = next((n for n in grams if n.casefold() == name.casefold()), name)
    if more > 0:
        grams[known] = grams.get(known, 0.0) + more


def _is_water(name: str) -> bool:
    return base_name(name).casefold() == "water"


def base_name(name: str) -> str:
    """ "egg white, for the paste" is egg white; what stands in brackets stays."""
    return name.split(", for ")[0].strip()


def contains(product: Product) -> tuple[str, ...]:
    """Allergens of the whole box: of its shells always almond and egg, and what any ingredient or
    filling is known to hold."""
    names = [name for name, _ in ingredients(product)]
    shown = [allergen for name in names for allergen, _, _ in found_in(name)]
    stated = [allergen for filling in product.fillings for allergen in filling.contains]
    return tuple(dict.fromkeys((*OF_SHELLS, *shown, *stated)))


def colours_of(product: Product) -> tuple[Colour, ...]:
    """Colours of shells and fillings, once each."""
    every = (*product.colours, *(c for f in product.fillings for c in f.colours))
    return tuple(dict.fromkeys(every))


def draft(product: Product) -> Label:
    """The label's text."""
    weighed = [name for name, _ in ingredients(product)]
    parts: list[tuple[Run, ...]] = [(Run("Ingredients: ", strong=True), *_list(product, weighed))]
    held = contains(product)
    if product.region == "us":
        named = ", ".join(_us_word(a) for a in held if a in US)
        parts.append((Run(f"Contains: {named}.", strong=True, allergen=True),))
    if len(product.fillings) > 1:
        parts.append(
            (Run("Mixed box: the macarons touch, so each may hold what any of them holds."),)
        )
    others = [a for a in product.may_contain if a not in held]
    if others:
        named = f"{', '.join(others)}."
        parts.append((Run("May contain: "), Run(named, strong=True, allergen=True)))
    parts += _warnings(product)
    parts.append((Run(net_text(product)),))
    parts.append((Run(product.date, strong=True), Run(f". {product.storage}")))
    if product.lot:
        parts.append((Run(f"Lot {product.lot}"),))
    parts.append((Run(", ".join(product.business)),))
    return Label(product.name, tuple(parts))


def _list(product: Product, names: Sequence[str]) -> list[Run]:
    runs: list[Run] = []
    for number, name in enumerate(names):
        runs += emphasised(name if number == 0 else f", {name}")
    colours = colours_of(product)
    if colours:
        word = ", color: " if product.region == "us" else ", colour: "
        called = (c.us or c.name if product.region == "us" else c.number for c in colours)
        runs.append(Run(f"{word}{', '.join(called)}"))
    return [*runs, Run(".")]


def emphasised(text: str) -> list[Run]:
    """The text with the words of allergens strong."""
    marks = sorted({(start, end) for _, start, end in found_in(text)})
    runs: list[Run] = []
    at = 0
    for start, end in marks:
        if start < at:
            continue
        runs += [Run(text[at:start]), Run(text[start:end], strong=True, allergen=True)]
        at = end
    return [run for run in (*runs, Run(text[at:])) if run.text]


def _warnings(product: Product) -> list[tuple[Run, ...]]:
    """The warning that six colours need in the European Union and the United Kingdom."""
    warned = [c for c in colours_of(product) if c.warns]
    if not warned or product.region == "us":
        return []
    names = " and ".join(f"{c.name} ({c.number})" for c in warned)
    return [(Run(f"{names[:1].upper()}{names[1:]}: {CHILDREN}."),)]


def _us_word(allergen: str) -> str:
    return {"gluten": "wheat", "soya": "soy"}.get(allergen, allergen)


def net_text(product: Product) -> str:
    """Net quantity: grams, and in the United States ounces first."""
    if product.region == "us":
        return f"Net Wt {product.net_g / OZ_G:.1f} oz ({product.net_g:.0f} g)"
    return f"Net quantity: {product.net_g:.0f} g"


def macarons_of(product: Product) -> int:
    return sum(filling.macarons for filling in product.fillings)


def unnamed(product: Product) -> list[tuple[str, str]]:
    """Fillings said to hold an allergen that none of their ingredients names: filling, allergen."""
    found = []
    for filling in product.fillings:
        named = {a for name, _ in filling.weights_g for a, _, _ in found_in(name)}
        found += [(filling.name, a) for a in filling.contains if a not in named]
    return found


def unstated(product: Product) -> list[tuple[str, str, str]]:
    """Ingredients that show an allergen which their filling is not said to hold: filling,
    ingredient, allergen."""
    return [
        (filling.name, name, allergen)
        for filling in product.fillings
        for name, _ in filling.weights_g
        for allergen, _, _ in found_in(name)
        if allergen not in filling.contains
    ]
