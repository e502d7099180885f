"""`petitpied flavour`: the colours that the baker's flavours should have."""

from pathlib import Path
from typing import Annotated

import typer

from petitpied.text.wording import printable

app = typer.Typer(
    name="flavour",
    help="The colour that each of your flavours should have: add, list, remove.",
    no_args_is_help=True,
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="The flavour.", show_default=False)]


@app.command("add")
def add(
    name: Name,
    record: Annotated[
        Path,
        typer.Option("--from", metavar="RECORD", help="Record of a tray baked as it should be."),
    ],
) -> None:
    """Keep a good tray's colour as the flavour's: browning is then counted from it."""
    from petitpied.files.own.flavours import keep_flavour, reference_of
    from petitpied.files.records.record_files import read_record

    reference, count = reference_of(name, read_record(record))
    path = keep_flavour(reference)
    lightness, a, b = reference.lab
    typer.echo(
        f"{reference.flavour}: L* {lightness:.1f}, a* {a:.1f}, b* {b:.1f}, "
        f"the median of {count} shells; kept in {printable(str(path))}"
    )


@app.command("list")
def list_flavours() -> None:
    """List the flavours and their colours."""
    from petitpied.files.own.flavours import own_flavours

    known = own_flavours()
    for name in sorted(known):
        lightness, a, b = known[name].lab
        typer.echo(f"{printable(name)}: L* {lightness:.1f}, a* {a:.1f}, b* {b:.1f}")
    typer.echo(f"{len(known)} flavour{'' if len(known) == 1 else 's'}")


@app.command("remove")
def remove(name: Name) -> None:
    """Forget a flavour's colour."""
    from petitpied.files.own.flavours import flavour_name, remove_flavour

    remove_flavour(name)
    typer.echo(f"{flavour_name(name)} removed")
