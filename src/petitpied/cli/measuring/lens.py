"""`petitpied lens`: photos of the lens chart to a lens profile."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options.checks import finite
from petitpied.text.wording import printable

if TYPE_CHECKING:
    from petitpied.camera.lens.chart_set import ChartPhoto
    from petitpied.domain.lens import LensProfile

SQUARE_MM = 22.0  # as `petitpied.domain.card.LENS_CHART` has it, which is slow to import


def lens(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...",
            help="8 or more photos of the lens chart, or folders of them.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.yml", help="Where the profile goes; else into your own folder, for use."
        ),
    ] = None,
    square_mm: Annotated[
        float,
        typer.Option(
            "--square-mm",
            min=2,
            max=200,
            callback=finite,
            metavar="MM",
            help="Measured side of the chart's squares, as on a tablet's screen.",
        ),
    ] = SQUARE_MM,
) -> None:
    """Measure a lens from photos of the lens chart, so that trays are measured surer."""
    from petitpied.camera.lens.chart_set import profile_of
    from petitpied.camera.lens.profile_text import profile_text
    from petitpied.files.output_files import prepare_folder, write_all
    from petitpied.files.own.lens_files import own_name
    from petitpied.files.own_folders import lenses_folder
    from petitpied.files.photo_files import collect

    seen = _chart_photos(collect(photos))
    profile = profile_of(seen, square_mm)
    path = lenses_folder() / own_name(profile) if out is None else out
    prepare_folder(path.parent)
    write_all({path: profile_text(profile).encode()})
    for line in _lines(profile):
        typer.echo(printable(line))
    typer.echo(f"wrote {printable(str(path))}")


def _chart_photos(paths: tuple[Path, ...]) -> "list[ChartPhoto]":
    """Each photo read, the chart found, the pixels let go; a photo given twice counts once."""
    import cv2
    import numpy as np

    from petitpied.camera.lens.chart import find_chart
    from petitpied.camera.lens.chart_set import ChartPhoto
    from petitpied.files.photo_files import read_photo
    from petitpied.photo.decode import decode_photo

    found: dict[str, ChartPhoto] = {}
    for path in paths:
        photo = decode_photo(read_photo(path), path.name)
        if photo.sha256 in found:
            continue
        grey = np.asarray(cv2.cvtColor(photo.pixels_bgr, cv2.COLOR_BGR2GRAY), np.uint8)
        chart = find_chart(grey)
        name = printable(photo.name)
        if isinstance(chart, str):
            typer.echo(f"not used: {name}: {chart}", err=True)
        found[photo.sha256] = ChartPhoto(
            name,
            photo.camera,
            photo.focal_mm,
            photo.focal_35mm_mm,
            photo.digital_zoom,
            (photo.width_px, photo.height_px),
            photo.orientation,
            chart,
        )
    return list(found.values())


def _lines(profile: "LensProfile") -> list[str]:
    """What was measured, each number with its 95 % uncertainty."""
    u95 = 1.96 * profile.sigmas
    cx, cy = profile.centre_px
    k1, k2, p1, p2, k3 = profile.dist
    focal = profile.focal_px
    lines = [
        profile.title,
        f"{profile.photos} photos, chart seen in {profile.coverage_rel:.0%} of the field, corners "
        f"{profile.rms_px:.2f} pixels off (root mean square)",
        f"focal length {focal:.1f} ± {focal * u95[0]:.1f} pixels",
        f"principal point {cx:.1f} ± {u95[3]:.1f}, {cy:.1f} ± {u95[4]:.1f} pixels",
        f"distortion k1 {k1:.4f} ± {u95[1]:.4f}, k2 {k2:.4f} ± {u95[2]:.4f}, "
        f"p1 {p1:.5f} ± {u95[5]:.5f}, p2 {p2:.5f} ± {u95[6]:.5f}"
        + (f", k3 {k3:.4f} ± {u95[7]:.4f}" if k3 else ""),
        "± holds 95 %",
    ]
    if profile.camera is None or profile.focal_35mm_mm is None:
        lines.append(
            "the photos do not name their camera and zoom: give this profile with inspect --lens, "
            "it is never chosen by itself"
        )
    return lines
