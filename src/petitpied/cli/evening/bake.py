"""`petitpied bake`: an evening from photos to filled boxes, by one command."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.cli.options import fact_options as fact
from petitpied.cli.options.checks import Db
from petitpied.cli.options.lot_options import Mix


def bake(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...",
            help="The evening's photos, or folders of them.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Folder for the results; else evening, beside the first photo."
        ),
    ] = None,
    flavour: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Flavour: once for all trays, or once for each in their order.",
            show_default=False,
        ),
    ] = None,
    facts: fact.More = None,
    kitchen: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Your kitchen's file; else kitchen.toml beside the photos or above.",
        ),
    ] = None,
    mix_flavours: Mix = False,
    no_log: Annotated[
        bool, typer.Option("--no-log", help="Keep nothing in the history.")
    ] = False,
    no_questions: Annotated[
        bool, typer.Option("--no-questions", help="Ask nothing, in a terminal too.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Measure anew what has been measured before.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print everything as JSON and nothing else.")
    ] = False,
    pdf: Annotated[
        bool, typer.Option("--pdf", help="The page as a PDF too, to print or send.")
    ] = False,
    jobs: Annotated[
        int | None, typer.Option(min=1, help="Photos measured at the same time; else one a core.")
    ] = None,
    db: Db = None,
) -> None:
    """From the evening's photos to verdict, pairs, boxes, and the one thing to change."""
    from petitpied.running.worker_processes import one_thread_for_matrices

    one_thread_for_matrices()  # before anything imports NumPy
    from petitpied.cli.evening.whole_evening import Wanted, run

    wanted = Wanted(
        photos=tuple(photos),
        out=out,
        flavours=tuple(flavour or ()),
        facts=tuple(facts or ()),
        kitchen=kitchen,
        mix_flavours=mix_flavours,
        log=not no_log,
        ask=not (no_questions or as_json),
        anew=replace,
        as_json=as_json,
        pdf=pdf,
        jobs=jobs,
        db=db,
    )
    raise typer.Exit(run(wanted))
