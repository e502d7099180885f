"""What law asks of a label, by region, and whether the draft has it: to check with an authority."""

from collections.abc import Callable
from dataclasses import dataclass

from petitpied.labels.colours import NOT_US
from petitpied.labels.label import Product, Region, colours_of

EU_LAW = "Regulation (EU) 1169/2011"
UK_LAW = "Food Information Regulations 2014, as changed from 1 October 2021"
US_LAW = "21 CFR 101"


@dataclass(frozen=True, slots=True)
class Point:
    """One demand; ``there``: whether the draft has it, None where only the baker can tell."""

    text: str
    source: str
    there: Callable[[Product], bool] | None = None


def _always(_: Product) -> bool:
    return True


_NAME = Point("name of the food, such as \"macarons with raspberry filling\"", "Article 9(1)(a)",
              lambda p: bool(p.name))  # fmt: skip
_LIST = Point("all ingredients, most first, allergens emphasised", "Articles 9(1)(b, c), 18, 21",
              _always)  # fmt: skip
POINTS: dict[Region, tuple[Point, ...]] = {
    "eu": (
        _NAME,
        _LIST,
        Point("quantity in % of an ingredient that the name or a picture stresses (raspberry in "
              "\"with raspberry filling\")", "Articles 9(1)(d), 22"),
        Point("net quantity", "Article 9(1)(e)", lambda p: p.net_g > 0),
        Point("date: best before, or use by where it spoils fast", "Articles 9(1)(f), 24",
              lambda p: bool(p.date)),
        Point("storage", "Articles 9(1)(g), 25", lambda p: bool(p.storage)),
        Point("name and address of the business", "Article 9(1)(h)",
              lambda p: len(p.business) > 1),
        Point("lot", "Directive 2011/91/EU", lambda p: bool(p.lot)),
        Point("nutrition; free of it: small makers who sell their own small quantities directly or "
              "to local shops, and packs under 25 cm2", "Article 9(1)(l); Annex V, 18 and 19"),
        Point("small packs, largest side under 10 cm2: name, allergens, net quantity and date "
              "suffice", "Article 16(2)"),
        Point("letters whose x is 1.2 mm high or more, 0.9 mm on sides under 80 cm2",
              "Article 13(2, 3)", _always),
        Point("the language that buyers understand", "Article 15"),
        Point("sold from a distance: all but the date before the sale too", "Article 14"),
    ),
    "uk": (
        Point("name of the food", UK_LAW, lambda p: bool(p.name)),
        Point("all ingredients, most first, allergens emphasised", UK_LAW, _always),
        Point("packed where it is sold, before it is ordered (prepacked for direct sale): these "
              "two suffice", UK_LAW),
        Point("packed elsewhere, or sold from a distance: all that Article 9 of the retained "
              "Regulation (EU) 1169/2011 asks for (net quantity, date, storage, name and address, "
              "lot)", UK_LAW),
        Point("Scotland, Wales and Northern Ireland have regulations of their own; in Northern "
              "Ireland European Union law holds", UK_LAW),
        Point("registered as a food business 28 days before opening", "food.gov.uk, from memory"),
    ),
    "us": (
        Point("name of the food", "21 CFR 101.3", lambda p: bool(p.name)),
        Point("all ingredients by their common names, most first", "21 CFR 101.4", _always),
        Point("major allergens: milk, egg, fish, crustacean shellfish, tree nuts by name, peanuts, "
              "wheat, soybeans", "FALCPA 2004", _always),
        Point("sesame as well, since 1 January 2023", "FASTER Act 2021", _always),
        Point("net quantity, ounces and grams, on the lower third of the front", "21 CFR 101.7",
              lambda p: p.net_g > 0),
        Point("name and place of the business", "21 CFR 101.5", lambda p: len(p.business) > 1),
        Point("nutrition facts; small businesses may be exempt", "21 CFR 101.9(j)"),
        Point("certified colours by name, carmine too", "21 CFR 101.22(k), 73.100", _always),
        Point("made at home: your state's cottage food law, often with a sentence of its own; some "
              "allow no fillings that need the cold", "state law"),
    ),
}  # fmt: skip


def colour_cautions(product: Product) -> list[str]:
    """What is restricted, in words: "E171 titanium dioxide: not allowed ..."."""
    told = []
    for colour in colours_of(product):
        notes = [colour.note]
        if product.region == "us":
            notes.append(colour.us_note if colour.us else NOT_US)
        elif product.region == "eu":
            notes.append(colour.eu_note)
        told += [f"{colour.number} {colour.name}: {note}" for note in notes if note]
    return told
