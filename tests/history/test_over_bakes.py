"""`petitpied trend` and `petitpied causes` on histories made by rule."""

import io
import json
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from petitpied.domain.errors import ExitCode
from petitpied.history.store import open_store
from tests.history.bakes import log_bake, round_sizes


@pytest.fixture
def db(tmp_path):
    """30 bakes on alternate racks; from bake 20 on shells are 2 mm larger; bake 7 has no shell."""
    path = str(tmp_path / "h.sqlite")
    store, random = open_store(path), np.random.default_rng(81)
    for n in range(30):
        mean = 42 + random.normal(0, 0.2) + (2.0 if n >= 20 else 0.0)
        log_bake(
            store, n, round_sizes(mean) if n != 7 else [], rack=("top", "low")[n % 2],
            humidity_rel=0.6 if n >= 20 else 0.45, flavour="rose" if n >= 20 else "lemon",
            rest_minutes=float(30 + 7 * n % 20),
        )  # fmt: skip
    return path


def test_trend_as_json(petitpied, db):
    status, out, _ = petitpied("trend", "--change", "2026-01-21", "--json", "--db", db)
    found = json.loads(out)
    assert status == 0
    assert [c["kind"] for c in found["charts"]] == ["individuals", "moving range"]
    assert len(found["bakes"]) == 30
    assert found["bakes"][7]["value"] is None
    assert found["base_bakes"] == 19
    assert found["change"]["low95"] < 2.0 < found["change"]["high95"]
    assert found["change"]["shows"]
    signals = {s["bake_number"] for s in found["charts"][0]["signals"]}
    assert {21, 25, 30} <= signals
    assert "Passed over, having no value: 1." in found["text"]
    assert "cannot say" in found["text"]  # before and after is no proof


def test_the_other_charts(petitpied, db):
    for arguments, kinds in (
        (["--chart", "ewma"], ["ewma", "individuals"]),
        (["--chart", "xbar-s"], ["mean", "spread"]),
        (["--of", "spread", "--chart", "xbar-s"], ["spread", "mean"]),
        (["--of", "share", "--fault", "diameter>42.6", "--rules", "nelson"], ["share"]),
        (
            ["--measure", "lean", "--base", "2026-01-02..2026-01-12"],
            ["individuals", "moving range"],
        ),
    ):
        status, out, err = petitpied("trend", *arguments, "--rack", "top", "--json", "--db", db)
        assert (status, err) == (0, "")
        found = json.loads(out)
        assert [c["kind"] for c in found["charts"]] == kinds
        assert len(found["bakes"]) == 15


@pytest.mark.parametrize("name", ["chart.png", "chart.svg"])
def test_the_picture(petitpied, db, tmp_path, name):
    status, out, _ = petitpied("trend", "--out", tmp_path / name, "--oven", "Deck", "--db", db)
    assert (status, "wrote" in out) == (0, True)
    data = (tmp_path / name).read_bytes()
    if name.endswith("png"):
        picture = np.asarray(Image.open(io.BytesIO(data)).convert("L"))
        assert picture.shape[1] == 1080  # a phone held upright
        assert picture.min() < 40 < 250 < picture.max()
    else:
        texts = [t.text for t in ET.fromstring(data).iter("{http://www.w3.org/2000/svg}text")]
        assert "Mean diameter, mm" in texts
        assert "oven Deck" in texts


def test_names_from_outside_are_escaped(petitpied, tmp_path):
    path, oven = str(tmp_path / "h.sqlite"), '<script>"&\U0001f525'
    store = open_store(path)
    for n in range(4):
        log_bake(store, n, round_sizes(42 + 0.1 * n), oven=oven)
    petitpied("trend", "--oven", oven, "--out", tmp_path / "x.svg", "--db", path)
    text = (tmp_path / "x.svg").read_text("utf-8")
    assert "<script" not in text
    assert ET.fromstring(text) is not None


def test_too_little_is_said_in_plain_words(petitpied, tmp_path):
    path = str(tmp_path / "h.sqlite")
    store = open_store(path)

    def refused(*arguments):
        status, _, err = petitpied(*arguments, "--db", path)
        assert "Traceback" not in err
        assert len(err.strip().splitlines()) == 1
        return status, err

    assert refused("trend") == (ExitCode.LOT, "there is nothing to look at: the history has no "
                                "bakes; log some: petitpied log.\n")  # fmt: skip
    assert refused("causes")[0] == ExitCode.LOT
    log_bake(store, 1, round_sizes(42))
    assert "2 points or more, got 1" in refused("trend")[1]
    assert "no bake has the measure browning" in refused("trend", "--measure", "browning")[1]
    assert "take one of the ovens Deck" in refused("trend", "--oven", "Dekc")[1]
    assert refused("trend", "--measure", "nonsense")[0] == ExitCode.HISTORY
    assert refused("trend", "--base", "soon")[0] == ExitCode.HISTORY
    assert refused("trend", "--change", "soon")[0] == ExitCode.HISTORY
    assert refused("trend", "--of", "share", "--fault", "big shells")[0] == ExitCode.HISTORY
    assert petitpied("trend", "--of", "share", "--db", path)[0] == 2
    assert petitpied("trend", "--out", "chart.gif", "--db", path)[0] == 2
    assert "nothing could be compared" in petitpied("causes", "--db", path)[1]


def test_all_shells_identical(petitpied, tmp_path):
    path = str(tmp_path / "h.sqlite")
    store = open_store(path)
    for n in range(8):
        log_bake(store, n, [42.0] * 6, flavour=("rose", "lemon")[n % 2])
    for arguments in ([], ["--of", "spread"], ["--chart", "ewma"], ["--chart", "xbar-s"],
                      ["--of", "share", "--fault", "diameter > 43"],
                      ["--change", "2026-01-05"]):  # fmt: skip
        status, out, _ = petitpied("trend", *arguments, "--out", tmp_path / "c.png", "--db", path)
        assert status == 0
        assert "nothing out of the ordinary" in out
        assert "nan" not in out
    assert petitpied("causes", "--db", path)[0] == 0


def test_causes(petitpied, db):
    status, out, _ = petitpied("causes", "--measure", "diameter", "--json", "--db", db)
    found = json.loads(out)
    assert status == 0
    standing = {a["fact"] for a in found["associations"] if a["stands_out"]}
    assert {"humidity", "flavour lemon"} <= standing
    assert not any(fact.startswith("rack") for fact in standing)
    humidity = next(
        a for a in found["associations"]
        if a["fact"] == "humidity" and a["outcome"] == "mean diameter"
    )  # fmt: skip
    assert humidity["effect"]["low"] < 2.0 / 1.5 < humidity["effect"]["high"]  # 2 mm for 15 %
    assert set(humidity["may_as_well_be"]) == {"flavour lemon", "time"}
    assert any("course of time" in t["text"] for t in found["together"])
    said = petitpied("causes", "--measure", "diameter", "--db", db)[1]
    assert "What goes along need not be the cause" in said
    for word in ("because", "due to", "leads to", "caused by"):
        assert word not in said
