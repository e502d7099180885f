"""The baker's flavours: kept, listed, removed, asked for, and damaged."""

import json

import pytest
from typer.testing import CliRunner

from petitpied.cli.main import app
from petitpied.domain.errors import LotError, OwnFileError
from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import Colour, Reference
from petitpied.files.own import flavours
from petitpied.files.records.record_files import record_bytes
from tests.records import a_record, a_shell


@pytest.fixture(autouse=True)
def kept(tmp_path, monkeypatch):
    """The list lies in a folder of the test's own."""
    path = tmp_path / "own" / "flavours.toml"
    monkeypatch.setattr(flavours, "flavours_file", lambda: path)
    return path


def coloured(shell_id, lightness, column=0):
    colour = Colour(Quantity(lightness, 1.0, 1.0), Quantity(20.0, 0.5), Quantity(5.0, 0.5))
    return a_shell(shell_id, 0, column, colour=colour, browning=Quantity(0.0, 0.5))


def a_good_tray():
    levels = (70.0, 72.0, 90.0)
    return a_record([coloured(f"A{n + 1}", level, n) for n, level in enumerate(levels)])


def test_a_flavour_is_the_median_of_a_good_tray():
    reference, count = flavours.reference_of(" Rose  de mai ", a_good_tray())
    assert reference == Reference("Rose de mai", (72.0, 20.0, 5.0))
    assert count == 3


def test_a_record_without_colours_gives_no_flavour():
    with pytest.raises(LotError, match="0 of its shells have a colour"):
        flavours.reference_of("rose", a_record())


def test_kept_flavours_are_read_back():
    rose, lime = Reference("rose", (72.0, 20.0, 5.0)), Reference('lime "1"', (80.0, -17.0, 33.5))
    flavours.keep_flavour(rose)
    flavours.keep_flavour(lime)
    assert flavours.own_flavours() == {"rose": rose, 'lime "1"': lime}
    flavours.remove_flavour("rose")
    assert set(flavours.own_flavours()) == {'lime "1"'}


def test_an_unknown_flavour_says_which_there_are():
    flavours.keep_flavour(Reference("rose", (72.0, 20.0, 5.0)))
    with pytest.raises(OwnFileError, match=r"your flavours are: rose; .*flavour add \"mint\""):
        flavours.own_flavour("mint")


@pytest.mark.parametrize(
    "text",
    [
        "[lab]\nrose = [1, 2]\n",
        '[lab]\nrose = [72.0, 20.0, "5"]\n',
        "[lab]\nrose = [72.0, 20.0, 9e9]\n",
        "[lab]\nrose = [nan, 20.0, 9.0]\n",
        "lab = 3\n",
        "[lab\n",
    ],
)
def test_a_damaged_list_is_told_with_its_place(kept, text):
    kept.parent.mkdir(parents=True)
    kept.write_text(text, encoding="utf-8")
    with pytest.raises(OwnFileError, match=r"flavours\.toml"):
        flavours.own_flavours()


@pytest.mark.parametrize("name", ["", "   ", "x" * 61])
def test_a_name_must_be_a_name(name):
    with pytest.raises(OwnFileError):
        flavours.flavour_name(name)


def test_control_characters_never_reach_the_list():
    assert flavours.flavour_name("ro\x1b[31mse").isprintable()


def test_commands_add_list_and_remove(tmp_path):
    record = tmp_path / "good.json"
    record.write_bytes(record_bytes(a_good_tray()))
    run = CliRunner()
    added = run.invoke(app, ["flavour", "add", "rose", "--from", str(record)])
    assert added.exit_code == 0, added.output
    assert "L* 72.0, a* 20.0, b* 5.0, the median of 3 shells" in added.output
    assert "rose: L* 72.0" in run.invoke(app, ["flavour", "list"]).output
    assert run.invoke(app, ["flavour", "remove", "rose"]).exit_code == 0
    assert run.invoke(app, ["flavour", "list"]).output == "0 flavours\n"


def test_inspect_asks_for_a_flavour_that_was_added(small_photo):
    found = CliRunner().invoke(app, ["inspect", str(small_photo), "--flavour", "mint"])
    assert isinstance(found.exception, OwnFileError)


def test_colour_and_marks_go_to_the_record_and_back():
    from petitpied.domain.surface import SurfaceMark, TrayColour
    from petitpied.files.records.record_files import record_from_bytes

    mark = SurfaceMark((10.0, 20.0), (-3.0, 4.0), Quantity(7.5, 0.5), Quantity(1.2, 0.2), 0.8)
    hole = SurfaceMark((12.0, 22.0), (-2.0, 5.0), Quantity(1.0, 0.3), None, 0.5)
    shell = coloured("A1", 70.0)
    full = a_shell(
        "A1",
        colour=shell.colour,
        browning=Quantity(-1.5, 0.4, 0.2),
        edge_browning=Quantity(0.5, 0.3, 0.6),
        dimples=(mark,),
        peak=mark,
        pinholes=(hole,),
        lumpiness_mm=Quantity(0.02, 0.01),
    )
    tray = TrayColour(True, "grey strip of card A", "flavour rose", Quantity(0.9, 0.1), -30.0)
    record = a_record([full], colour=tray)
    back = record_from_bytes(record_bytes(record), "record.json")
    (again,) = back.shells
    assert back.colour == tray
    assert again.dimples == (mark,)
    assert again.peak == mark
    assert again.pinholes == (hole,)
    assert again.colour.lab == pytest.approx([70.0, 20.0, 5.0])
    assert again.browning.value == -1.5


def test_a_record_from_before_colours_stays_readable():
    from petitpied.files.records.record_files import record_from_bytes

    data = json.loads(record_bytes(a_good_tray()))
    del data["surface"]
    for shell in data["shells"]:
        for name in (
            "colour",
            "browning",
            "edge_browning",
            "lumpiness_mm",
            "dimples",
            "peak",
            "pinholes",
        ):
            shell.pop(name, None)
    (first, *_) = record_from_bytes(json.dumps(data).encode(), "old.json").shells
    assert first.colour is first.browning is first.dimples is first.peak is None
