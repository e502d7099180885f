"""Labels: order by weight, allergens found and emphasised, colours with their warnings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from petitpied.labels.allergens import NUTS, US, WORDS, found_in
from petitpied.labels.checklist import POINTS, colour_cautions
from petitpied.labels.colours import CHILDREN, COLOURS, colour_of
from petitpied.labels.label import (
    Filling,
    Product,
    contains,
    draft,
    emphasised,
    ingredients,
    net_text,
    unnamed,
    unstated,
)
from petitpied.piping.recipe import Recipe

RECIPE = Recipe(
    "x",
    (("egg white, for the paste", 50.0), ("egg white, for the meringue", 50.0),
     ("almond flour", 130.0), ("sugar", 200.0), ("water, for the syrup", 30.0)),
    ("egg white, for the paste", "egg white, for the meringue"), 10.0, 0.1, 6, 30, "italian", 20.0,
)  # fmt: skip
GANACHE = Filling("ganache", 8.0, 6, (("cream (milk)", 50.0), ("sugar", 50.0)), ("milk",))


def a_product(region="eu", **changes):
    fields = {
        "region": region, "name": "Macarons", "business": ("Atelier Brume", "1 Cloud Lane"),
        "date": "Best before 12 March 2026", "storage": "Keep cool.", "recipe": RECIPE,
        "fillings": (GANACHE,), "net_g": 120.0,
    }  # fmt: skip
    return Product(**(fields | changes))


def text_of(product):
    return "\n".join("".join(run.text for run in p) for p in draft(product).paragraphs)


def allergens_in(text):
    return {allergen for allergen, _, _ in found_in(text)}


def test_ingredients_by_the_rule_of_three():
    """6 macarons: 12 shells of 10 g from 440 g of batter, so 120 / 440 of each part; 20 g of the
    30 g water boil off; 48 g of filling, half of it sugar."""
    found = dict(ingredients(a_product()))
    assert found["sugar"] == pytest.approx(200 * 120 / 440 + 24)
    assert found["egg white"] == pytest.approx(100 * 120 / 440)
    assert found["water"] == pytest.approx(10 * 120 / 440)
    assert sum(found.values()) == pytest.approx(120 + 48)
    grams = list(found.values())
    assert grams == sorted(grams, reverse=True)


@given(st.lists(st.floats(0.1, 500), min_size=1, max_size=8))
def test_nothing_is_lost_between_parts_and_label(weights):
    parts = tuple((f"part {i}", g) for i, g in enumerate(weights))
    found = ingredients(a_product(fillings=(Filling("f", 9.0, 4, parts, ()),)))
    assert sum(g for _, g in found) == pytest.approx(8 * 10 + 4 * 9.0)


def test_almond_and_egg_are_always_told():
    plain = Recipe("x", (("white", 100.0), ("flour of nuts", 100.0)), ("white",), 9, 0, 6, 30)
    product = a_product(recipe=plain, fillings=(Filling("f", 5, 6, (("jam", 1.0),), ()),))
    assert {"almond", "egg"} <= set(contains(product))


@pytest.mark.parametrize(
    ("text", "allergens"),
    [
        ("almond flour", {"almond"}),
        ("wheat flour", {"gluten"}),
        ("cocoa butter", set()),
        ("peanut butter", {"peanut"}),
        ("butter", {"milk"}),
        ("coconut milk", set()),
        ("cream of tartar", set()),
        ("double cream", {"milk"}),
        ("White chocolate", {"milk"}),
        ("maltodextrin", set()),
        ("soya lecithin", {"soya"}),
        ("pistachio paste", {"pistachio"}),
        ("tahini", {"sesame"}),
        ("E220", {"sulphites"}),
        ("eggplant", set()),
        ("egg white", {"egg"}),
    ],
)
def test_what_an_ingredients_name_shows(text, allergens):
    assert allergens_in(text) == allergens


def test_only_the_allergens_words_are_emphasised():
    runs = emphasised("white chocolate (sugar, milk powder)")
    assert "".join(run.text for run in runs) == "white chocolate (sugar, milk powder)"
    assert [run.text for run in runs if run.allergen] == ["white chocolate", "milk"]


def test_stated_and_shown_allergens_must_agree():
    hidden = Filling("f", 5, 6, (("butter", 1.0), ("praline", 1.0)), ("hazelnut",))
    assert unstated(a_product(fillings=(hidden,))) == [("f", "butter", "milk")]
    assert unnamed(a_product(fillings=(hidden,))) == [("f", "hazelnut")]


def test_a_mixed_box_and_what_else_is_handled():
    nut = Filling("nut", 8.0, 6, (("pistachio paste", 50.0),), ("pistachio",))
    text = text_of(a_product(fillings=(GANACHE, nut), may_contain=("peanut", "milk")))
    assert "Mixed box" in text
    assert "May contain: peanut." in text  # milk is in it for sure


def test_six_colours_need_the_warning():
    """E102, E104, E110, E122, E124, E129: Regulation (EC) 1333/2008, Annex V."""
    warned = {number for number, colour in COLOURS.items() if colour.warns}
    assert warned == {"E102", "E104", "E110", "E122", "E124", "E129"}
    product = a_product(colours=(COLOURS["E122"], COLOURS["E162"]))
    assert CHILDREN in text_of(product)
    assert "Azorubine (carmoisine) (E122)" in text_of(product)
    assert CHILDREN not in text_of(a_product(colours=(COLOURS["E162"],)))


def test_restricted_colours_are_told_by_region():
    colours = tuple(COLOURS[n] for n in ("E171", "E127", "E104"))
    european = "; ".join(colour_cautions(a_product(colours=colours)))
    assert "E171 titanium dioxide: not allowed in food in the European Union since 2022" in european
    american = "; ".join(colour_cautions(a_product("us", colours=colours)))
    assert "15 January 2027" in american
    assert "E104 quinoline yellow: not listed" in american
    assert "E171" not in american


@pytest.mark.parametrize("code", ["E102", "e 102", "FD&C Yellow No. 5", "fd&c yellow 5"])
def test_a_colour_by_any_of_its_names(code):
    assert colour_of(code).number == "E102"


@pytest.mark.parametrize("code", ["E999", "", "red", "102E"])
def test_unknown_colours_are_refused(code):
    with pytest.raises(KeyError):
        colour_of(code)


def test_the_united_states_want_ounces_and_contains():
    """114 g / 28.349523125 g = 4.02 oz."""
    text = text_of(a_product("us", net_g=114.0, colours=(COLOURS["E129"],)))
    assert net_text(a_product("us", net_g=114.0)) == "Net Wt 4.0 oz (114 g)"
    assert "Contains: almond, egg, milk." in text
    assert "FD&C Red No. 40" in text


def test_every_demand_has_its_source():
    assert all(p.source and p.text for points in POINTS.values() for p in points)
    assert set(US) <= set(WORDS)
    assert set(NUTS) <= set(US)
