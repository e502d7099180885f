"""Options that the commands on a lot share."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from petitpied.text.wording import printable


class ByEye(StrEnum):
    """What shells that are to be checked by eye count as."""

    leave = "leave"
    as_pass = "pass"
    second = "second"


Records = Annotated[
    list[Path],
    typer.Argument(
        metavar="RECORD...",
        help="Records (NAME.json) that inspect wrote, or folders of them.",
        show_default=False,
    ),
]
Limits = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Limits file: rejects stay out, seconds with seconds."),
]
Flavours = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME",
        help="Flavour of the shells: once for all records, or once for each in their order.",
    ),
]
Mix = Annotated[bool, typer.Option("--mix-flavours", help="Pair shells of different flavours too.")]
Eye = Annotated[
    ByEye,
    typer.Option("--by-eye", help="Shells to be checked by eye: leave them, or take them as that."),
]
Out = Annotated[
    Path | None, typer.Option(metavar="DIR", help="Folder for the results; else the current one.")
]
Photos = Annotated[
    Path | None,
    typer.Option(metavar="DIR", help="Folder of the photos; else beside their records."),
]
AsJson = Annotated[
    bool, typer.Option("--json", help="Print JSON and nothing else; files only with --out.")
]


def write_results(folder: Path | None, contents: dict[str, bytes], quiet: bool) -> None:
    """Write files into the folder, all or none, and name them."""
    from petitpied.files.output_files import prepare_folder, write_all

    place = Path() if folder is None else folder
    prepare_folder(place)
    write_all({place / name: data for name, data in contents.items()})
    if not quiet:
        for name in contents:
            typer.echo(f"wrote {printable(str(place / name))}")


def print_json(data: object) -> None:
    """One JSON document on the output."""
    import json

    typer.echo(json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1))
