"""Options that tell the facts of a bake, shared by the commands that log or edit."""

from typing import Annotated

import typer

Oven = Annotated[
    str | None, typer.Option(metavar="NAME", help="The oven's name.", show_default=False)
]
Rack = Annotated[str | None, typer.Option(metavar="NAME", help="The rack or level in the oven.")]
Turn = Annotated[
    str | None, typer.Option(metavar="DEG", help="180: the tray went in turned by half; else 0.")
]
At = Annotated[
    str | None,
    typer.Option(metavar="TIME", help="When it was baked (2026-03-08T09:15); else the photo's."),
]
SetTemperature = Annotated[
    str | None, typer.Option(metavar="C", help='The oven\'s setting, degrees Celsius; or "300 F".')
]
Fan = Annotated[bool | None, typer.Option("--fan/--no-fan", help="Was the fan on?")]
Liner = Annotated[str | None, typer.Option(metavar="NAME", help="Parchment, mat, ...")]
RestMinutes = Annotated[
    str | None,
    typer.Option(metavar="MIN", help='Minutes that the piped shells rested; or "1 h 30".'),
]
Humidity = Annotated[
    str | None, typer.Option(metavar="PERCENT", help="Humidity of the kitchen's air, per cent.")
]
Flavour = Annotated[str | None, typer.Option(metavar="NAME", help="The shells' flavour.")]
Batch = Annotated[str | None, typer.Option(metavar="NAME", help="The batter that it came from.")]
Note = Annotated[str | None, typer.Option(metavar="TEXT", help="Whatever else you noticed.")]
LikeLast = Annotated[
    bool,
    typer.Option(
        "--like-last",
        help="What is not said is as at the bake logged last: oven, rack, temperature, fan, "
        "liner and flavour.",
    ),
]
