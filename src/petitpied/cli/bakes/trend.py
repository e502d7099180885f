"""`petitpied trend`: control charts over bakes, and before against after a change."""

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db

if TYPE_CHECKING:
    from petitpied.history.trend_reading import TrendRequest


class Of(StrEnum):
    """Choices of `trend --of`."""

    mean = "mean"
    spread = "spread"
    share = "share"


class Charts(StrEnum):
    """Choices of `trend --chart`."""

    individuals = "individuals"
    ewma = "ewma"
    xbar_s = "xbar-s"


class Rules(StrEnum):
    """Choices of `trend --rules`."""

    western_electric = "western-electric"
    nelson = "nelson"


def trend(
    measure: Annotated[
        str,
        typer.Option(metavar="M", help="diameter, roundness, foot_spread, lean, browning, ..."),
    ] = "diameter",
    of: Annotated[
        Of, typer.Option(help="Of each bake: its mean, its spread, or its share of faults.")
    ] = Of.mean,
    fault: Annotated[
        str | None,
        typer.Option(metavar="RULE", help='Which shells count as faulty, as "cracks >= 3".'),
    ] = None,
    chart: Annotated[
        Charts,
        typer.Option(
            help="individuals: the bake is the unit. ewma: finds small drifts. xbar-s: limits "
            "from the shells within a bake."
        ),
    ] = Charts.individuals,
    rules: Annotated[
        Rules, typer.Option(help="Which published run rules.")
    ] = Rules.western_electric,
    base: Annotated[
        str | None,
        typer.Option(
            metavar="N or FROM..TO",
            help="Bakes that the limits come from: the first N, or by dates; else those before "
            "the change, or the first 20.",
        ),
    ] = None,
    change: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="Compare the bakes before this day with those from it."),
    ] = None,
    oven: fact.Oven = None,
    rack: fact.Rack = None,
    flavour: fact.Flavour = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Picture: NAME.svg or NAME.png.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    db: Db = None,
) -> None:
    """Is it steady, is it getting better? Control charts over the bakes of the history."""
    from petitpied.history.trend_reading import TrendRequest

    if (of is Of.share) != (fault is not None):
        raise typer.BadParameter("--of share and --fault RULE go together")
    if out is not None and out.suffix.lower() not in (".svg", ".png"):
        raise typer.BadParameter("--out must end in .svg or .png")
    request = TrendRequest(
        measure=measure, of=of.value, fault=fault, chart=chart.value, rules=rules.value,
        base=base, change=change, oven=oven, rack=rack, flavour=flavour,
    )  # fmt: skip
    _trend(request, out, db, as_json=as_json)


def _trend(request: "TrendRequest", out: Path | None, db: str | None, *, as_json: bool) -> None:
    from petitpied.figures.charts.trend_picture import trend_chart
    from petitpied.figures.raster import png_bytes
    from petitpied.figures.svg import svg_bytes
    from petitpied.files.output_files import prepare_folder, write_all
    from petitpied.history.store import open_store
    from petitpied.history.trend_reading import read_trend
    from petitpied.text.trend_words import lines, trend_json
    from petitpied.text.wording import printable

    found, asked, facts = read_trend(open_store(db, new=False), request)
    said = lines(found, asked, facts)
    if out is not None:
        chart = trend_chart(found, asked, facts)
        prepare_folder(out.parent)
        picture = svg_bytes(chart) if out.suffix.lower() == ".svg" else png_bytes(chart)
        write_all({out: picture})
    if as_json:
        typer.echo(json.dumps(trend_json(found, asked, facts, said), ensure_ascii=False))
        return
    for line in said:
        typer.echo(line)
    if out is not None:
        typer.echo(f"wrote {printable(str(out))}")
