"""Colours by their number: names, where they may not be used, and the warnings they need.

European Union: Regulation (EC) 1333/2008, Annex II (what bakery wares may hold) and Annex V (the
warning), Regulation (EU) 2022/63 (E171). United States: 21 CFR parts 73 and 74; the order of 15
January 2025 that ends FD&C Red No. 3 in food by 15 January 2027. What is allowed in which food and
amount is from memory, not looked up: it is a reason to ask, not an answer.
"""

import re
from dataclasses import dataclass

CHILDREN = "may have an adverse effect on activity and attention in children"


@dataclass(frozen=True, slots=True)
class Colour:
    """``us``: what the United States call it, "" where it is not listed there. What to tell the
    baker: ``note`` everywhere, ``eu_note`` in the European Union, ``us_note`` in the United
    States."""

    number: str
    name: str
    us: str = ""
    warns: bool = False
    note: str = ""
    eu_note: str = ""
    us_note: str = ""


NOT_US = "not listed for food in the United States: ask"
#: by number; natural and mineral ones too, so that a typing error is noticed
COLOURS: dict[str, Colour] = {
    c.number: c
    for c in (
        Colour("E100", "curcumin", "turmeric"),
        Colour("E101", "riboflavin", "riboflavin"),
        Colour("E102", "tartrazine", "FD&C Yellow No. 5", warns=True),
        Colour("E104", "quinoline yellow", warns=True),
        Colour("E110", "sunset yellow", "FD&C Yellow No. 6", warns=True),
        Colour("E120", "carmine", "carmine",
               note="comes from insects, and some people are allergic to it: name it"),
        Colour("E122", "azorubine (carmoisine)", warns=True),
        Colour("E124", "ponceau 4R", warns=True),
        Colour("E127", "erythrosine", "FD&C Red No. 3",
               eu_note="for preserved cherries only in the European Union, not for macarons",
               us_note="FD&C Red No. 3 must be out of food by 15 January 2027"),
        Colour("E129", "allura red", "FD&C Red No. 40", warns=True),
        Colour("E131", "patent blue V"),
        Colour("E132", "indigotine", "FD&C Blue No. 2"),
        Colour("E133", "brilliant blue", "FD&C Blue No. 1"),
        Colour("E140", "chlorophylls"),
        Colour("E141", "copper chlorophylls", "sodium copper chlorophyllin",
               us_note="for few foods only in the United States: ask"),
        Colour("E142", "green S"),
        Colour("E150a", "plain caramel", "caramel color"),
        Colour("E150b", "caustic sulphite caramel", "caramel color",
               note="may hold sulphites: ask its maker"),
        Colour("E150c", "ammonia caramel", "caramel color"),
        Colour("E150d", "sulphite ammonia caramel", "caramel color",
               note="may hold sulphites: ask its maker"),
        Colour("E151", "brilliant black"),
        Colour("E153", "vegetable carbon"),
        Colour("E155", "brown HT"),
        Colour("E160a", "carotenes", "beta carotene"),
        Colour("E160b", "annatto", "annatto extract"),
        Colour("E160c", "paprika extract", "paprika oleoresin"),
        Colour("E161b", "lutein"),
        Colour("E162", "beetroot red", "beet powder"),
        Colour("E163", "anthocyanins", "grape color extract"),
        Colour("E170", "calcium carbonate", "calcium carbonate"),
        Colour("E171", "titanium dioxide", "titanium dioxide",
               eu_note="not allowed in food in the European Union since 2022"),
        Colour("E172", "iron oxides", us_note="for few foods only in the United States: ask"),
        Colour("E174", "silver"),
        Colour("E175", "gold"),
    )
}  # fmt: skip


def colour_of(code: str) -> Colour:
    """A colour by its number ("E 102", "e102") or by what the United States call it.

    Raises
    ------
    KeyError
        If there is no such colour in the list.
    """
    plain = re.sub(r"[\s().-]", "", code).casefold()
    for colour in COLOURS.values():
        names = {colour.number, colour.us, colour.us.replace("No.", ""), colour.name}
        if plain and plain in {re.sub(r"[\s().-]", "", name).casefold() for name in names}:
            return colour
    raise KeyError(code)
