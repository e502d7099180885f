"""The baker's limits and box file: what is read, and faults told with their line."""

import pytest

from petitpied.domain.errors import OwnFileError
from petitpied.domain.own_file import OwnFile
from petitpied.sorting import box_file, limits
from petitpied.sorting.box_file import parse_box
from petitpied.sorting.limits import Limit, parse_limits


def test_the_starter_is_a_good_file_and_reads_as_it_looks():
    found = parse_limits(OwnFile.parsed(limits.STARTER, "limits.toml"))
    assert found.risk == 0.05
    assert found.passes[0] == Limit("diameter_mm", 43.5, 46.5, 45.0)
    assert Limit("dimples", None, 0.0) in found.passes
    assert Limit("browning", -8.0, 8.0) in found.second
    assert found.names == tuple(limit.name for limit in found.passes)


def test_second_may_be_left_out():
    found = parse_limits(OwnFile.parsed("[pass]\nlean_mm = { max = 1.5 }\n", "l.toml"))
    assert found == limits.Limits(0.05, (Limit("lean_mm", None, 1.5),))


@pytest.mark.parametrize(
    ("text", "line", "wrong", "allowed"),
    [
        ("", 1, "no limits for pass", r"\[pass\]"),
        ("[pass]\ndiameter_mm = {target=45.0 tolerance=1}\n", 2, "proper TOML", "name = 1.5"),
        ("risk = 0.05\n[pass]\nlean_mm = { max = 1 }\n[pass]\n", 4, "proper TOML", ""),
        ("rsik = 0.1\n[pass]\nlean_mm = { max = 1 }", 1, '"rsik" is not known', "risk, pass"),
        ("risk = 5\n[pass]\nlean_mm = { max = 1 }", 1, "risk = 5 is out of range", "0.001 to 0.5"),
        ('risk = "low"\n[pass]\nlean_mm = { max = 1 }', 1, "no plain number", "0.001 to 0.5"),
        ("[pass]\n\nwidth_mm = { max = 1 }", 3, '"width_mm" is not known', "diameter_mm, cap"),
        ("pass = 3", 1, "pass must be a group", "diameter_mm"),
        ("[pass]\nlean_mm = 1.5", 2, "lean_mm must be a group", "target, tolerance, min, max"),
        ("[pass]\nlean_mm = { most = 1.5 }", 2, '"most" is not known', "target, tolerance"),
        ("[pass]\nlean_mm = { target = 1.5 }", 2, "only target", "tolerance = 1.5 }"),
        ("[pass]\nlean_mm = { }", 2, "has nothing", "min = 1.0"),
        ("[pass]\ndiameter_mm = { target = 45, tolerance = 1, max = 46 }", 2, "and max", ""),
        ("[pass]\nlean_mm = { min = 2, max = 1 }", 2, "nothing between 2 and 1", "below the max"),
        ("[pass]\nlean_mm = { max = true }", 2, "no plain number", "0 to 30"),
        ("[pass]\nlean_mm = { max = nan }", 2, "out of range", "0 to 30"),
        ("[pass]\ncrack_length_mm = { max = 0 }", 2, "can never be shown", "above 0"),
        # mixed units
        ("[pass]\nlean_mm = { max = 1 }\ndiameter_cm = { max = 4.6 }", 3, "mixes units", "in mm"),
        ("[pass]\ndiameter_in = { max = 1.8 }", 2, "mixes units", "diameter_mm"),
        ("[pass]\ndiameter_mm = { target = 4.5, tolerance = 0.2 }", 2, "4.5 is out", "10 to 200"),
        ('[pass]\ndiameter_mm = { max = "46 mm" }', 2, "is text", "plain number in mm"),
        # second stricter than pass
        (
            "[pass]\nlean_mm = { max = 2 }\n[second]\nlean_mm = { max = 1 }",
            4,
            "stricter for second",
            "hold those for pass",
        ),
        # written as groups of their own
        ("[pass.lean_mm]\nmax = 1\n[pass.diameter_mm]\nmax = 1", 4, "max = 1 is out", "10 to 200"),
    ],
)
def test_a_fault_says_line_what_and_what_is_allowed(text, line, wrong, allowed):
    with pytest.raises(OwnFileError, match=rf"^my\.toml, line {line}: .*{wrong}.*; .*{allowed}"):
        parse_limits(OwnFile.parsed(text, "my.toml"))


def test_control_letters_of_the_file_never_reach_the_message():
    with pytest.raises(OwnFileError) as caught:
        parse_limits(OwnFile.parsed('[pass]\n"\\u001b[31mred" = { max = 1 }', "l.toml"))
    assert "\x1b" not in str(caught.value)


def test_the_box_starter_reads_as_it_looks():
    found = parse_box(OwnFile.parsed(box_file.STARTER, "box.toml"))
    assert (found.slots, found.columns, found.slot_pitch_mm) == (6, 3, 50.0)
    assert (found.flavours, found.even_range_mm) == ("one", None)


def test_a_box_of_named_flavours():
    text = '[box]\nslots = 6\nslot_pitch_mm = 50\nflavours = { rose = 4, "café" = 2 }\n'
    assert parse_box(OwnFile.parsed(text, "b.toml")).flavours == {"rose": 4, "café": 2}


@pytest.mark.parametrize(
    ("text", "line", "wrong"),
    [
        ("slots = 6", 1, '"slots" is not known'),
        ("", 1, r"no \[box\]"),
        ("[box]\nslot_pitch_mm = 50", 1, "slots is missing"),
        ("[box]\nslots = 6", 1, "slot_pitch_mm is missing"),
        ("[box]\nslots = 0\nslot_pitch_mm = 50", 2, "slots = "),
        ("[box]\nslots = 6\nslot_pitch_mm = 5", 3, "5 is out of range"),
        ("[box]\nslots = 6\nslot_pitch_cm = 5", 3, "no known unit"),
        ("[box]\nslots = 6\nslot_pitch = 50", 3, "no known unit"),
        ("[box]\nslots = 6\nslot_pitch_mm = 50\nflavours = { rose = 5 }", 4, "sum up to 5"),
        ('[box]\nslots = 6\nslot_pitch_mm = 50\nflavours = "two"', 4, "not understood"),
        ("[box]\nslots = 6\nslot_pitch_mm = 50\ncolumns = 7", 4, "columns = "),
        ('[box]\nslots = 6\nslot_pitch_mm = 50\nname = ""', 4, "name is empty"),
    ],
)
def test_a_fault_in_a_box_file_says_its_line(text, line, wrong):
    with pytest.raises(OwnFileError, match=rf"^b\.toml, line {line}: .*{wrong}.*; "):
        parse_box(OwnFile.parsed(text, "b.toml"))
