"""Figures of the report and the piping sheet: time, size, places on the print."""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import petitpied
from petitpied.cli.demo_walk import make_kitchen
from petitpied.figures.print.print_template import Template, template_pdf
from petitpied.piping.forms import Form
from petitpied.piping.sheet import lay_out
from tests.figures.print.test_print_template import PIPED_MM, SIZES_MM, circle_seen, rendered

MARGINS = ("| what | wanted | measured |", "|---|---|---|")


def report_lines(few):
    """Markdown lines."""
    yield "\n## Report, demo, piping sheet\n"
    yield from MARGINS
    with tempfile.TemporaryDirectory() as folder:
        yield from _reports(Path(folder), few)
    yield from _sheets(few)


def _seconds(arguments, folder):
    """Wall and processor seconds of one command in a process of its own."""
    import resource

    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "petitpied", *arguments],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(Path(petitpied.__file__).parents[1])},
        check=True,
        capture_output=True,
    )
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, used


def _reports(folder, few):
    make_kitchen(folder / "kitchen")
    kitchen = folder / "kitchen"
    names = ("rose",) if few else ("rose", "chocolate", "lemon", "violet", "vanilla", "pistachio")
    photos = [f"photos/{name}.jpg" for name in names]
    _seconds(("inspect", *photos, "--out", "results"), kitchen)
    walls, used, sizes = [], [], []
    for name in names:
        arguments = ("report", f"results/{name}.json", "--photos", "photos", "--out", "report")
        taken = [_seconds(arguments, kitchen) for _ in range(1 if few else 3)]
        walls.append(min(wall for wall, _ in taken))
        used.append(min(cpu for _, cpu in taken))
        sizes.append((kitchen / "report" / f"{name}.report.html").stat().st_size / 1e6)
    yield (
        f"| report of a tray, whole command | 2 s | {max(walls):.2f} s "
        f"({max(used):.2f} s of processor), worst of {len(names)} |"
    )
    yield f"| its HTML | 3 MB | {max(sizes):.2f} MB, worst of {len(names)} |"
    wall, cpu = _seconds(("demo", "--out", "walk"), folder)
    yield f"| demo | 60 s | {wall:.0f} s ({cpu:.0f} s of processor) |"


def _sheets(few):
    places, diameters = [], []
    for paper in ("a4",) if few else ("a4", "letter", "a3"):
        sheet = lay_out(SIZES_MM[paper], (45.0, 45.0), (53.5, 53.5))
        template = Template(sheet, Form.round, PIPED_MM, 45.0, ("", ""))
        grey, px_per_mm = rendered(template_pdf(template, paper))
        for place in sheet.places:
            middle, diameter = circle_seen(grey, px_per_mm, np.array(place.centre_mm))
            places.append(np.abs(middle - place.centre_mm).max())
            diameters.append(abs(diameter - PIPED_MM))
    worst = f"{max(diameters):.3f} mm, worst of {len(places)}"
    yield f"| rounds on the print, diameter | 0.05 mm | {worst} |"
    yield f"| rounds on the print, place | 0.1 mm | {max(places):.3f} mm |"
