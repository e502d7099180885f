"""The contact sheet and the marks on the annotated picture."""

import cv2
import numpy as np
import pytest

from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import Crack, SurfaceMark, TrayColour
from petitpied.figures.drawing import Drawing
from petitpied.figures.raster import jpeg_bytes, pixels
from petitpied.figures.tray.sheet import GAP_PX, PICTURE_PX, contact_sheet
from petitpied.figures.tray.surface_marks import legend, mark_shapes
from petitpied.statistics.tray_summary import summarise
from petitpied.text.shell_faults import fault_words
from petitpied.text.surface_words import surface_lines
from tests.records import a_record, a_shell, unmeasured_shell

COLOURS = {(0, 0): (40, 40, 220), (0, 2): (220, 60, 40), (2, 1): (40, 200, 60)}


def mark(place_px=(400.0, 300.0), width_mm=8.0):
    return SurfaceMark(place_px, (0.0, 0.0), Quantity(width_mm, 0.5), Quantity(1.4, 0.2), 0.9)


def a_tray():
    """Three shells of plain colours at gaps of a lattice, and the photo that shows them."""
    shells = [a_shell(f"{'ABC'[r]}{c + 1}", r, c) for r, c in COLOURS]
    photo = np.full((1200, 1600, 3), 200, np.uint8)
    for shell, colour in zip(shells, COLOURS.values(), strict=True):
        cv2.fillPoly(photo, [np.round(shell.outline_px).astype(np.int32)], colour)
    return photo, a_record(shells)


def test_shells_stand_in_lattice_order():
    photo, record = a_tray()
    sheet = pixels(contact_sheet(photo, record, summarise(record)))
    middles = {
        place: (y, GAP_PX + place[1] * (PICTURE_PX + GAP_PX) + PICTURE_PX // 2)
        for place in COLOURS
        for y in [_row_middle(sheet, COLOURS[place])]
    }
    for place, (y, x) in middles.items():
        assert sheet[y, x] == pytest.approx(COLOURS[place], abs=6)
    assert middles[2, 1][0] > middles[0, 0][0] == middles[0, 2][0]
    # row B holds no shell and takes no room
    assert middles[2, 1][0] - middles[0, 0][0] < 2 * PICTURE_PX


def _row_middle(sheet, colour):
    rows = np.nonzero((np.abs(sheet.astype(int) - colour).max(axis=2) < 8).sum(axis=1) > 100)[0]
    return int(rows.mean())


def test_each_shell_fills_its_picture():
    photo, record = a_tray()
    sheet = pixels(contact_sheet(photo, record, summarise(record)))
    red = np.abs(sheet.astype(int) - COLOURS[0, 0]).max(axis=2) < 8
    width = np.ptp(np.nonzero(red.any(axis=0))[0])
    assert 0.8 * PICTURE_PX < width < PICTURE_PX


def test_shells_at_the_photos_edge_and_not_measured_are_there():
    photo, _ = a_tray()
    cut = unmeasured_shell("A9", column=8)
    record = a_record([a_shell(), cut])
    sheet = pixels(contact_sheet(photo, record, summarise(record)))
    assert sheet.shape[1] >= 9 * PICTURE_PX
    assert jpeg_bytes(contact_sheet(photo, record, summarise(record)))[:2] == b"\xff\xd8"


def test_a_lattice_with_wide_gaps_still_fits():
    photo, _ = a_tray()
    record = a_record([a_shell("A1"), a_shell("A500", 0, 499), a_shell("Z1", 300, 0)])
    sheet = pixels(contact_sheet(photo, record, summarise(record)))
    assert sheet.shape[0] * sheet.shape[1] < 4_000_000


def test_the_sheet_holds_no_header_of_the_photo():
    photo, record = a_tray()
    data = jpeg_bytes(contact_sheet(photo, record, summarise(record)))
    assert b"Exif" not in data


def crack(length_mm):
    path = np.array([[0.0, 0.0], [length_mm, 0.0]])
    return Crack(path, Quantity(length_mm, 0.5), None, "radial", 0.9)


def test_faults_are_told_in_words_the_gravest_first():
    shell = a_shell(
        cracks=(crack(11.0),),
        crack_length_mm=Quantity(11.0, 0.5),
        dimples=(mark(), mark(width_mm=6.4)),
        peak=mark(),
        browning=Quantity(5.2, 0.4),
        lumpiness_mm=Quantity(0.2, 0.02),
    )
    assert fault_words(shell) == (
        "crack 11 mm", "2 dimples 8 mm", "peak", "lumpy", "browner by 5 ΔE",
    )  # fmt: skip
    assert fault_words(a_shell()) == ()


def test_browning_within_its_doubt_is_no_fault():
    assert fault_words(a_shell(browning=Quantity(4.0, 1.0))) == ()
    assert fault_words(a_shell(browning=Quantity(-7.0, 1.0))) == ("paler by 7 ΔE",)


def test_a_dimples_ring_goes_round_it_not_over_it():
    place = (400.0, 300.0)
    record = a_record([a_shell(dimples=(mark(place),))])
    changed = (pixels(Drawing(1600, 1200, [*mark_shapes(record, 1.0)])) != 255).any(axis=2)
    y, x = np.nonzero(changed)
    away = np.hypot(x - place[0], y - place[1]) / record.px_per_mm
    assert away.min() > 2.9  # of a dimple of 4 mm radius: the ticks' dark rims reach in a little
    assert away.max() < 6.5
    assert legend(record.shells) == "Ring with ticks: dimple."


def test_marks_are_told_apart_by_shape():
    assert legend((a_shell(peak=mark()), a_shell(pinholes=(mark(),)))) == (
        "Triangle: peak. Small square: dark spot."
    )
    assert legend((a_shell(),)) == ""


def test_the_terminal_tells_how_even_the_colours_are_and_what_is_marked():
    shells = [
        a_shell("A1", 0, 0, browning=Quantity(-2.0, 0.5)),
        a_shell("A2", 0, 1, browning=Quantity(3.2, 0.5), dimples=(mark(),)),
    ]
    colour = TrayColour(True, "grey strip of card A", "flavour rose", Quantity(1.5, 0.2))
    lines = surface_lines(a_record(shells, colour=colour))
    assert "spread 1.5 ± 0.4 ΔE00; against the flavour rose" in lines[0]
    assert "palest A1 -2.0, brownest A2 +3.2" in lines[0]
    assert lines[1].endswith("A2 dimple 8 mm")
    assert surface_lines(a_record()) == ()
