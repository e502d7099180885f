"""`petitpied repeatability`: one tray photographed again and again."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from petitpied.cli.options.checks import finite

if TYPE_CHECKING:
    from petitpied.files.records.study_files import Study
    from petitpied.statistics.gauge_study import Gauge, Spread

#: field of a shell to its name and unit, as the study lists them
STUDIED = {
    "diameter_mm": ("diameter", "mm"),
    "cap_diameter_mm": ("cap diameter", "mm"),
    "foot_diameter_mm": ("foot diameter", "mm"),
    "feret_min_mm": ("smallest width", "mm"),
    "feret_max_mm": ("largest width", "mm"),
    "roundness_mm": ("roundness", "mm"),
    "foot_spread_mm": ("foot spread", "mm"),
    "lean_mm": ("lean", "mm"),
    "height_mm": ("height", "mm"),
}

#: records hold four decimals: values closer than this are all one
DIFFER = 5e-5


def repeatability(
    records: Annotated[
        list[Path] | None,
        typer.Argument(metavar="RECORD...", help="Records of one tray.", show_default=False),
    ] = None,
    study: Annotated[
        Path | None,
        typer.Option(
            metavar="CSV",
            help="Instead of records: a table with the columns record, person and phone.",
        ),
    ] = None,
    limits: Annotated[
        tuple[float, float] | None,
        typer.Option(metavar="LOW HIGH", help="Your limits for the diameter, mm."),
    ] = None,
    tell: Annotated[
        float,
        typer.Option(
            min=0.01, max=100, callback=finite, metavar="MM", help="Difference you want to tell."
        ),
    ] = 1.0,
    out: Annotated[Path, typer.Option(metavar="DIR", help="Folder for chart and table.")] = Path(),
) -> None:
    """Say how well the set-up repeats itself: same tray, several photos, people or phones."""
    if (study is None) == (not records):
        raise typer.BadParameter("give either records or a table with --study")
    if limits is not None and not limits[0] < limits[1]:
        raise typer.BadParameter("--limits needs the lower limit first")
    from petitpied.domain.errors import LotError
    from petitpied.figures.charts.gauge_chart import gauge_chart
    from petitpied.figures.raster import png_bytes
    from petitpied.files.output_files import prepare_folder, write_all
    from petitpied.files.records.study_files import Taken, load_study, read_study
    from petitpied.statistics.gauge_study import gauge_of

    taken = read_study(study) if study else tuple(Taken(path) for path in records or ())
    loaded = load_study(taken)
    gauges = {}
    for field in STUDIED:
        readings = loaded.readings(field)
        if readings is not None and float(readings.values.std()) > DIFFER:
            gauges[field] = gauge_of(readings)
    main = loaded.readings("diameter_mm")
    if main is None or "diameter_mm" not in gauges:
        raise LotError(
            what="no repeatability can be told",
            why="fewer than two shells have a diameter in two photos",
            next_step="give records of photos with a card, of the same shells",
        )
    prepare_folder(out)
    chart = gauge_chart(main, gauges["diameter_mm"], loaded.persons, "Diameter", "mm")
    files = {
        out / "repeatability.png": png_bytes(chart),
        out / "repeatability.json": _json(loaded, gauges),
    }
    write_all(files)
    for line in _lines(loaded, gauges, limits, tell):
        typer.echo(line)
    for path in files:
        typer.echo(f"wrote {path}")


def _with_interval(spread: "Spread") -> str:
    high = f"{spread.high:.2f}" if spread.high < 1000 else "?"
    return f"{spread.sd:.3f} ({spread.low:.2f} to {high})"


def _lines(
    study: "Study",
    gauges: "dict[str, Gauge]",
    limits: tuple[float, float] | None,
    tell_mm: float,
) -> list[str]:
    from petitpied.statistics.gauge_study import judged_categories, judged_share, verdict

    gauge = gauges["diameter_mm"]
    people = len(study.persons)
    by = f"{people} {'person' if people == 1 else 'people'}"
    lines = [
        f"{len(study.records)} photos of one tray by {by}; mean diameter {gauge.mean:.2f} mm",
        "standard deviations of the diameter, mm (95 % interval):",
        f"  between shells   {_with_interval(gauge.between_shells)}",
        f"  within a photo   {_with_interval(gauge.within_photo)}",
        f"  repeatability    {_with_interval(gauge.repeatability)}",
    ]
    if gauge.reproducibility is None:
        lines.append("  reproducibility  not shown: one person only")
    else:
        lines.append(f"  reproducibility  {_with_interval(gauge.reproducibility)}")
    lines.append(f"  measurement      {_with_interval(gauge.total)}")
    parts = zip(gauge.components.terms, gauge.components.variance, strict=True)
    lines.append("variances, mm²: " + ", ".join(f"{name} {v:.4f}" for name, v in parts))
    if people > 1 and "interaction" not in gauge.components.terms:
        lines.append('  ("rest" holds what a person does to single shells, too)')
    count = gauge.categories
    lines.append(f"distinct categories: {count} ({judged_categories(count)})")
    if limits is not None:
        share = gauge.share_of_limits(*limits)
        lines.append(
            f"share of the limits {limits[0]:g} to {limits[1]:g} mm that the measurement takes: "
            f"{100 * share:.0f} % ({judged_share(share)})"
        )
    lines += verdict(gauge, tell_mm)
    lines.append("other sizes, standard deviation of the measurement:")
    for field, other in gauges.items():
        if field != "diameter_mm":
            name, unit = STUDIED[field]
            lines.append(f"  {name:<16} {other.total.sd:.3f} {unit}")
    return lines


def _json(study: "Study", gauges: "dict[str, Gauge]") -> bytes:
    import json

    def spread(value: "Spread | None") -> dict[str, Any] | None:
        if value is None:
            return None
        high = round(value.high, 5) if value.high < 1e6 else None
        return {"sd": round(value.sd, 5), "low": round(value.low, 5), "high": high}

    rows = {
        field: {
            "mean": round(g.mean, 5),
            "variances": {
                t: float(f"{v:.6g}")
                for t, v in zip(g.components.terms, g.components.variance, strict=True)
            },
            "between_shells": spread(g.between_shells),
            "within_photo": spread(g.within_photo),
            "repeatability": spread(g.repeatability),
            "reproducibility": spread(g.reproducibility),
            "measurement": spread(g.total),
            "categories": g.categories,
        }
        for field, g in gauges.items()
    }
    photos = [
        {"file": r.photo.file, "person": study.persons[p] or None}
        for r, p in zip(study.records, study.person, strict=True)
    ]
    data = {"schema": "petitpied/repeatability/1", "photos": photos, "quantities": rows}
    return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
