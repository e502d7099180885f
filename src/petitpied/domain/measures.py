"""The register of measures: each is declared once, as a field of `Sizes` or `Surface`.

Record, schema, tables, limits, maps, charts, report and help read `MEASURES` and `SERIES`, so that
a new measure is one declaration here, its number, its uncertainty and its tests.
"""

from dataclasses import dataclass, fields, replace
from typing import Annotated, Literal, get_type_hints

from petitpied.domain.quantity import Quantity
from petitpied.domain.surface import Colour, Crack, Foot, SurfaceMark

MM, DELTA_E, RATIO = "mm", "Delta E00", ""

#: what must be there for a measure: the photo alone, a card in it, or a photo before baking too
Needs = Literal["photo", "card", "photo before baking"]


@dataclass(frozen=True, slots=True)
class Odd:
    """What a shell far below and far above the others is called; "": that side is never odd.
    ``rank``: which oddity of several is named first."""

    rank: int
    low: str = ""
    high: str = ""


@dataclass(frozen=True, slots=True)
class Series:
    """A measure, or a part of it, in the history, in maps of an oven and in charts over bakes.

    ``key``: its name there; ``words``: in a sentence; ``more``, ``less``: how shells with more and
    less of it are.
    """

    key: str
    words: str
    more: str
    less: str
    typed: str = ""  # what a baker types for it, where that is not the key
    title: str = ""  # of a map, where it has other words
    points: bool = False  # a half turn of the tray turns its sign
    by_light: bool = False  # the light's fall over the tray can fake it
    stored: bool = True  # by the history; else made of others
    unit: str = MM

    @property
    def name(self) -> str:
        """A map's name."""
        return self.title or self.words

    @property
    def typed_name(self) -> str:
        """As a baker types it."""
        return self.typed or self.key


@dataclass(frozen=True, slots=True)
class Measure:
    """What is to be known of one measure of a shell.

    ``words``: in a sentence; ``definition``: with its source, as the schema gives it; ``field``:
    its name in `Sizes` or `Surface`, in the record and in a limits file, taken from there.
    """

    unit: str
    words: str
    definition: str
    field: str = ""
    needs: Needs = "card"
    decimals: int = 2  # of a value that stands without its uncertainty
    in_all_records: bool = False  # since the first version
    limits: tuple[float, float] | None = None  # range that a baker's limit may lie in; None: none
    limit: str = ""  # its name in a limits file, where that is not the field's
    column: str = ""  # head of its column in the report's table; "": not there
    budget: bool = False  # shown by ``inspect --budget`` and studied by ``repeatability``
    odd: Odd | None = None  # compared with the tray's other shells
    series: tuple[Series, ...] = ()  # mapped and charted

    @property
    def with_unit(self) -> str:
        """The field's name, which ends in its unit: "growth_mm"."""
        ending = {MM: "_mm", DELTA_E: "_de00"}.get(self.unit, "")
        return self.field if self.field.endswith(ending) else f"{self.field}{ending}"

    @property
    def limit_name(self) -> str:
        """In a limits file."""
        return self.limit or self.field


#: diameters and widths: wide enough for any shell, narrow enough that centimetres are noticed, mm
_SHELL_MM = (10.0, 200.0)


@dataclass(frozen=True)
class Sizes:
    """Sizes of one shell in plan view; None where not measured, the reason in `Shell.missing`."""

    diameter_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "diameter",
            "Diameter of the circle with the outline's area (ISO 9276-6).",
            in_all_records=True,
            limits=_SHELL_MM,
            column="diameter, mm",
            budget=True,
            odd=Odd(0, "small", "large"),
            series=(Series("diameter", "diameter", "larger", "smaller"),),
        ),
    ] = None
    cap_diameter_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "cap diameter",
            "Area-equivalent diameter of the cap's outline.",
            in_all_records=True,
            limits=_SHELL_MM,
            budget=True,
            series=(
                Series("cap_diameter", "cap diameter", "wider in the cap", "narrower in the cap"),
            ),
        ),
    ] = None
    foot_diameter_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "foot diameter",
            "Area-equivalent diameter of the foot's outline.",
            in_all_records=True,
            limits=_SHELL_MM,
            budget=True,
        ),
    ] = None
    feret_min_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "smallest width",
            "Smallest caliper width of the outline (ISO 9276-6).",
            in_all_records=True,
            limits=_SHELL_MM,
            budget=True,
        ),
    ] = None
    feret_max_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "largest width",
            "Largest caliper width of the outline (ISO 9276-6).",
            in_all_records=True,
            limits=_SHELL_MM,
            budget=True,
        ),
    ] = None
    roundness_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "out of round",
            "Largest minus smallest radial deviation from the least-squares circle, outline "
            "smoothed to 15 undulations (ISO 12181); 0 is a circle.",
            in_all_records=True,
            limits=(0.0, 30.0),
            column="out of round, mm",
            budget=True,
            odd=Odd(2, high="not round"),
            series=(Series("roundness", "out of round", "less round", "rounder"),),
        ),
    ] = None
    circularity: Annotated[
        Quantity | None,
        Measure(
            RATIO,
            "circularity",
            "sqrt(4 pi area / perimeter^2) of the smoothed outline (ISO 9276-6).",
            needs="photo",
            decimals=3,
            in_all_records=True,
            limits=(0.0, 1.0),
        ),
    ] = None
    aspect_ratio: Annotated[
        Quantity | None,
        Measure(
            RATIO,
            "width over length",
            "feret_min / feret_max (ISO 9276-6).",
            needs="photo",
            decimals=3,
            in_all_records=True,
            limits=(0.0, 1.0),
            odd=Odd(1, "oval"),
        ),
    ] = None
    foot_spread_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "foot spread",
            "Mean over angle, about the cap's centre, of foot radius minus cap radius.",
            in_all_records=True,
            limits=(-10.0, 30.0),
            column="foot spread, mm",
            budget=True,
            odd=Odd(4, high="splayed foot"),
            series=(
                Series("foot_spread", "foot spread", "wider in the foot", "narrower in the foot"),
            ),
        ),
    ] = None
    lean_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "lopsided foot",
            "Distance of the foot's centroid from the cap's centroid.",
            in_all_records=True,
            limits=(0.0, 30.0),
            limit="lopsided_mm",
            column="lopsided foot, mm",
            budget=True,
            odd=Odd(3, high="lopsided foot"),
            series=(
                Series(
                    "lean_x",
                    "lopsided foot, to the right",
                    "more lopsided to the right",
                    "more lopsided to the left",
                    typed="lopsided_x",
                    points=True,
                ),
                Series(
                    "lean_y",
                    "lopsided foot, to the door",
                    "more lopsided to the door",
                    "more lopsided to the back",
                    typed="lopsided_y",
                    points=True,
                ),
                Series(
                    "lean",
                    "lopsided foot",
                    "more lopsided",
                    "less lopsided",
                    typed="lopsided",
                    points=True,
                    stored=False,
                ),
            ),
        ),
    ] = None
    height_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "height",
            "Height of the cap above the liner.",
            in_all_records=True,
            limits=(1.0, 60.0),
            column="height, mm",
            budget=True,
            odd=Odd(5, "flat"),
            series=(Series("height", "height", "higher", "lower"),),
        ),
    ] = None
    piped_diameter_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "piped diameter",
            "Diameter of the same shell as piped, from a photo before baking; absent or null "
            "without one.",
            needs="photo before baking",
            series=(Series("piped_diameter", "piped diameter", "piped larger", "piped smaller"),),
        ),
    ] = None
    growth: Annotated[
        Quantity | None,
        Measure(
            MM,
            "growth",
            "Baked minus piped diameter, mm; absent or null without a photo before baking.",
            needs="photo before baking",
            column="growth, mm",
            series=(Series("growth", "growth", "grown more", "grown less", "growth in the oven"),),
        ),
    ] = None
    lean_dir_deg: float | None = None  # tray frame, from +x towards +y
    diameter_rel: float | None = None  # diameter over the tray's median diameter


@dataclass(frozen=True)
class Surface:
    """What one cap's surface and foot show; None: not to be seen, or not looked for."""

    cracks: tuple[Crack, ...] | None = None
    crack_length_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "length of cracks",
            "Length of all cracks together, mm in plan view; absent or null: not looked for.",
            limits=(0.0, 500.0),
            column="cracks, mm",
            series=(Series("cracks", "length of cracks", "more cracked", "less cracked"),),
        ),
    ] = None
    crack_confidence: float | None = None  # of the likeliest dark line, reported as a crack or not
    foot: Foot | None = None
    colour: Colour | None = None
    browning: Annotated[
        Quantity | None,
        Measure(
            DELTA_E,
            "colour",
            "CIEDE2000 from the reference named in surface/colour/reference, along the way that "
            "baking takes colours; positive: browner.",
            limits=(-100.0, 100.0),
            column="browner (+), paler (-), steps",
            series=(
                Series("browning", "browning", "browner", "paler", by_light=True, unit=DELTA_E),
            ),
        ),
    ] = None
    edge_browning: Annotated[
        Quantity | None,
        Measure(
            DELTA_E,
            "colour of the edge",
            "CIEDE2000 of the cap's edge from its middle at equal lightness; positive: browner "
            "edge.",
            limits=(-100.0, 100.0),
        ),
    ] = None
    dimples: tuple[SurfaceMark, ...] | None = None
    peak: SurfaceMark | None = None
    pinholes: tuple[SurfaceMark, ...] | None = None
    lumpiness_mm: Annotated[
        Quantity | None,
        Measure(
            MM,
            "lumps",
            "Root mean square height of lumps 3 to 12 mm wide, by shading.",
            limits=(0.0, 10.0),
        ),
    ] = None


def _measures(part: type) -> tuple[Measure, ...]:
    """The measures among a dataclass's fields, in their order."""
    hints = get_type_hints(part, include_extras=True)
    marks = {f.name: getattr(hints[f.name], "__metadata__", ()) for f in fields(part)}
    return tuple(replace(mark, field=name) for name, found in marks.items() for mark in found)


SIZES = _measures(Sizes)
SURFACE = _measures(Surface)
#: every measure, in the order of the record
MEASURES = (*SIZES, *SURFACE)
MEASURE = {measure.field: measure for measure in MEASURES}
#: every series of the history, of maps and of charts, by its key
SERIES = {series.key: series for measure in MEASURES for series in measure.series}
#: those that the history keeps
STORED = tuple(key for key, series in SERIES.items() if series.stored)
