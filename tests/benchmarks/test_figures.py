"""FIGURES.md and TUNING.md: commands and constants that they name are there."""

import re
from importlib.util import find_spec
from pathlib import Path

import pytest

HERE = Path(__file__).parent
PACKAGE = HERE.parents[1] / "src" / "petitpied"
FIGURES = (HERE / "FIGURES.md").read_text(encoding="utf-8")
TUNING = (HERE / "TUNING.md").read_text(encoding="utf-8")
SECTIONS = dict(re.findall(r"^## (.+)\n((?:(?!## ).*\n?)*)", FIGURES, flags=re.MULTILINE))


@pytest.mark.parametrize("title", SECTIONS)
def test_figures_stand_beside_the_command_that_prints_them(title):
    blocks = re.findall(r"```\n(.*?)```", SECTIONS[title], flags=re.DOTALL)
    assert any("python" in line for block in blocks for line in block.splitlines())


def test_commands_of_the_figures_are_there():
    source = (HERE / "__main__.py").read_text(encoding="utf-8")
    parts = re.search(r"PARTS = \((.*?)\n\)", source, flags=re.DOTALL)[1]
    assert set(re.findall(r"--only ([a-z]+)", FIGURES)) <= set(re.findall(r"\w+", parts))
    for module in re.findall(r"python -m (tests[\w.]+)", FIGURES + TUNING):
        assert find_spec(module) is not None, module


def test_tuned_constants_are_where_tuning_says():
    for module, text in re.findall(r"^## (\S+\.py)\n((?:(?!## ).*\n?)*)", TUNING, re.MULTILINE):
        source = (PACKAGE / module).read_text(encoding="utf-8")
        marked = " ".join(re.findall(r"\*\*(.+?)\*\*", text))
        named = re.findall(r"`(\w+)`", marked)
        assert named, module
        for name in named:
            assert re.search(rf"^[A-Z_, ]*\b{name}\b.*=", source, re.MULTILINE), name


def test_modules_that_point_to_tuning_stand_there():
    told = {p for p in PACKAGE.rglob("*.py") if "TUNING.md" in p.read_text(encoding="utf-8")}
    for path in told:
        assert f"## {path.relative_to(PACKAGE).as_posix()}\n" in TUNING
