"""Allergens that labels must name, and the words of ingredients that hold them.

The lists: European Union and United Kingdom, Regulation (EU) 1169/2011, Annex II; United States,
FALCPA 2004 and FASTER Act 2021 (sesame, from 1 January 2023). The words: common practice, no
source; they catch slips, and replace no supplier's specification.
"""

import re
from collections.abc import Iterator

#: nuts by name, as both laws want them
NUTS: dict[str, str] = {
    "almond": r"almonds?|marzipan|frangipane",
    "hazelnut": r"hazelnuts?|gianduja",
    "walnut": r"walnuts?",
    "pistachio": r"pistachios?",
    "cashew": r"cashews?",
    "pecan": r"pecans?",
    "macadamia": r"macadamias?",
    "Brazil nut": r"brazil nuts?",
}
#: every allergen to the words (regular expression) by which an ingredient shows it
WORDS: dict[str, str] = {
    **NUTS,
    "egg": r"eggs?|albumen|meringue|advocaat",
    "milk": r"milk|butter|buttermilk|cream|crème|cheese|mascarpone|yogh?urt|whey|casein(?:ate)?"
    r"|lactose|dulce de leche|ghee|white chocolate",
    "peanut": r"peanuts?|groundnuts?",
    "gluten": r"wheat|rye|barley|oats?|spelt|gluten|malt|flour",
    "sesame": r"sesame|tahini|halva",
    "soya": r"soya?|soybeans?|soja",
    "sulphites": r"sulphites?|sulfites?|sulphur dioxide|sulfur dioxide|e22[0-8]",
    "fish": r"fish",
    "crustaceans": r"crab|prawns?|shrimps?|lobster",
    "molluscs": r"mussels?|oysters?|squid",
    "celery": r"celery|celeriac",
    "mustard": r"mustard",
    "lupin": r"lupins?",
}
#: what shells of macarons always hold
OF_SHELLS = ("almond", "egg")
#: named in the United States, which asks for wheat (not all gluten) and nine in all
US = (*NUTS, "egg", "milk", "peanut", "gluten", "sesame", "soya", "fish", "crustaceans")
#: the words' look-alikes that hold none: almond flour is no wheat, cocoa butter no milk
_HARMLESS = re.compile(
    r"(?:almond|hazelnut|pistachio|coconut|rice|corn|maize|potato|tapioca|chickpea) flour"
    r"|(?:cocoa|shea|peanut|almond) butter|(?:coconut|almond|rice) (?:milk|cream)"
    r"|cream of (?:tartar|coconut)",
    re.IGNORECASE,
)


def found_in(ingredient: str) -> Iterator[tuple[str, int, int]]:
    """Allergens that an ingredient's name shows, and where in it: name, start, end."""
    for allergen, words in WORDS.items():
        for match in re.finditer(rf"\b(?:{words})\b", ingredient, re.IGNORECASE):
            if not _is_harmless(ingredient, match.start(), match.end(), allergen):
                yield allergen, match.start(), match.end()


def _is_harmless(ingredient: str, start: int, end: int, allergen: str) -> bool:
    """Whether the word belongs to a look-alike; the first word of one still counts (the almond of
    almond flour)."""
    for other in _HARMLESS.finditer(ingredient):
        if other.start() < start and end <= other.end():
            return True
        starts_it = other.start() == start and allergen in ("gluten", "milk")
        if starts_it and end <= other.end():
            return True
    return False
