"""The recipe file and `petitpied batch`: the starter works, faults name their line."""

import re

import pytest

from petitpied.cli.planning.batch_sheet import batch_lines, counted_yield, write_starter
from petitpied.domain.errors import LotError, OutputError, OwnFileError
from petitpied.files.own.recipe_file import STARTER, read_recipe
from petitpied.piping.recipe import GoodShare


def write(tmp_path, text):
    path = tmp_path / "recipe.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def changed(old, new):
    assert old in STARTER
    return STARTER.replace(old, new)


def test_the_starter_is_read_and_says_that_it_is_common_practice(tmp_path):
    write_starter(tmp_path / "recipe.toml")
    recipe = read_recipe(tmp_path / "recipe.toml")
    assert recipe.egg_white_g == 100
    assert recipe.batter_g == 450
    assert "common practice" in STARTER
    assert "common practice" in recipe.name


def test_the_starter_replaces_nothing(tmp_path):
    path = write(tmp_path, "mine")
    with pytest.raises(OutputError, match="already"):
        write_starter(path)
    assert path.read_text() == "mine"


@pytest.mark.parametrize("name", ["egg whites", "EGG_WHITE", "卵白", "blanc d'oeuf"])
def test_the_egg_white_is_known_by_its_names(tmp_path, name):
    assert read_recipe(write(tmp_path, changed('"egg white"', f'"{name}"'))).egg_white == name


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (changed('"egg white" = 100\n', ""), r"line 7: no egg white"),
        (changed('"sugar" = 90', '"egg whites" = 90'), r"line 7: two egg whites"),
        (changed('"sugar" = 90', '"sugar" = -90'), r"line 11: sugar = -90 is out of .* 0.001"),
        (changed('"sugar" = 90', '"sugar" = 0'), r"line 11: sugar = 0 is out"),
        (changed('"sugar" = 90', '"sugar" = "90 g"'), r'line 11: sugar = "90 g" is no plain'),
        (changed('"sugar" = 90', '"sugar" = nan'), r"line 11: sugar = nan is out"),
        (changed('"sugar" = 90', '"sugar" = true'), r"line 11: .*no plain number"),
        (changed("batter_g = 9.0 ", "batter_g = 0 "), r"line 14: .*from 0.1 to 1000"),
        (changed("lost = 0.08", "lost = 1.0"), r"line 15: .*from 0 to 0.9"),
        (changed("macarons = 6", "macarons = 6.5"), r"line 19: .*whole number"),
        (changed("macarons = 6", ""), r"line 18: .*has no macarons"),
        (changed("[box]", "[boxes]"), r"line 18: .*not known here; .*, box"),
        (changed("[weights_g]", "[weights_oz]"), "not known"),
        ("name = [", "line 1: this is not proper TOML"),
        (b"\xff\xfe", "UTF-8"),
        ("#" * 300_000, "200 kB"),
        ("", "no .weights_g."),
    ],
)
def test_a_fault_is_one_sentence_with_its_line(tmp_path, text, says):
    with pytest.raises(OwnFileError, match=says) as raised:
        read_recipe(write(tmp_path, text))
    assert str(raised.value).count("\n") == 0


def test_no_file(tmp_path):
    with pytest.raises(OwnFileError, match="no such file"):
        read_recipe(tmp_path / "none.toml")


def test_what_to_weigh_for_twelve_boxes(tmp_path):
    """144 shells of 9 g, 8 % lost: 144 * 9 / 0.92 = 1408.7 g; a share of 100 / 450 is white."""
    lines = batch_lines(write(tmp_path, STARTER), 12, None, 0.9)
    text = "\n".join(lines)
    assert "144 shells on 5 trays" in text
    assert "1 409 g batter" in text
    assert re.search(r"egg white +313 g  the base", text)
    assert re.search(r"almond flour +407 g  130 % of the egg white", text)
    assert "almond (a tree nut) and egg" in text


def test_a_measured_yield_asks_for_spare_shells(tmp_path):
    lines = "\n".join(batch_lines(write(tmp_path, STARTER), 12, GoodShare(30, 36), 0.9))
    assert "yield 30 of 36 (83 %)" in lines
    assert re.search(r"chance of enough 9\d %", lines)


def test_impossible_yields_are_refused(tmp_path):
    with pytest.raises(LotError, match="more than all"):
        counted_yield(37, 36)
    with pytest.raises(LotError, match="more than 100000 shells"):
        batch_lines(write(tmp_path, STARTER), 10_000, GoodShare(0, 500), 0.99)


def test_markup_in_names_stays_text(tmp_path):
    text = changed('name = "Starter recipe (common practice)"', 'name = "\\u001b[31m<b>rose</b>"')
    lines = "\n".join(batch_lines(write(tmp_path, text), 1, None, 0.9))
    assert "\x1b" not in lines
    assert "<b>rose</b>" in lines
