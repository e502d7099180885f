"""The handbook's pictures of faults: each is what the code draws, and each has its words.

``PYTHONPATH=src python -m tests.figures.tray.test_fault_pictures`` writes them anew.
"""

from pathlib import Path

import pytest

from petitpied.figures.svg import svg_bytes
from petitpied.figures.tray.fault_pictures import FAULTS, HEIGHT, WIDTH, fault_picture
from petitpied.handbook.pages import pages

FOLDER = Path(__file__).parents[3] / "src" / "petitpied" / "handbook" / "pictures"


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_the_picture_is_current_and_stands_in_the_page(fault):
    assert (FOLDER / f"{fault.name}.svg").read_bytes() == svg_bytes(fault_picture(fault))
    assert f"![{fault.says}](pictures/{fault.name}.svg)" in pages()["words"].markdown


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_nothing_is_drawn_beyond_the_edge(fault):
    for shape in fault_picture(fault).shapes:
        for line in getattr(shape, "lines", ()):
            assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in line)


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for one in FAULTS:
        (FOLDER / f"{one.name}.svg").write_bytes(svg_bytes(fault_picture(one)))
