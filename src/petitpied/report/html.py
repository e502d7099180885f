"""The report as one HTML file that asks for nothing from outside."""

import base64
from functools import cache
from importlib.resources import files
from typing import Any

from petitpied.figures import look
from petitpied.figures.svg import inline_svg
from petitpied.report.blocks import Bullets, Chart, Paragraph, Picture, Report, Table

TEMPLATE = "report.html.j2"


def report_html(report: Report) -> bytes:
    """UTF-8; styles and pictures inside, no script, every text escaped (Jinja2 autoescape)."""
    return str(_template().render(report=report)).encode()


@cache
def _template() -> Any:
    from jinja2 import Environment, FunctionLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=FunctionLoader(
            lambda name: files("petitpied.report").joinpath(name).read_text("utf-8")
        ),
    )
    environment.filters["svg"] = lambda drawn: Markup(inline_svg(drawn))  # escapes its texts
    environment.filters["data_url"] = _data_url
    environment.filters["kind"] = _kind
    colours = {name: look.css(getattr(look, name)) for name in _COLOURS}
    environment.globals.update(colours)
    return environment.get_template(TEMPLATE)


_COLOURS = ("INK", "QUIET", "FAINT", "PALE", "PAPER", "BLUE", "ORANGE", "PLUM")
_KINDS = {Paragraph: "paragraph", Bullets: "bullets", Table: "table"}
_KINDS |= {Picture: "picture", Chart: "chart"}


def _kind(block: object) -> str:
    return _KINDS[type(block)]


def _data_url(picture: Picture) -> str:
    return f"data:image/{picture.kind};base64,{base64.b64encode(picture.data).decode('ascii')}"
