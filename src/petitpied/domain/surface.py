"""What a cap's surface shows: cracks, colour, dimples, a peak, pinholes. Places as in `Shell`."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from petitpied.domain.quantity import Quantity

if TYPE_CHECKING:  # the command line's help reads the register of measures, and so this module
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

#: radial: away from the middle; across: over the dome; shoulder: round the cap near its rim
CrackKind = Literal["radial", "across", "shoulder"]
#: shows: seen beyond the cap; hidden: there, but under the cap; none: the cap stands on the
#: liner; unsure: not seen, and the camera stood too straight above to look under the cap
FootState = Literal["shows", "hidden", "none", "unsure"]


@dataclass(frozen=True)
class Crack:
    """An open fissure in a cap: centre line ``path_px`` (N, 2) in the photo, its length in plan
    view, its mean opening (None where the photo cannot show it), which way it runs, and
    ``confidence`` 0 to 1, that it is a crack and not a hair, a seam or a crumb."""

    path_px: "Floats"
    length_mm: Quantity
    width_mm: Quantity | None
    kind: CrackKind
    confidence: float


@dataclass(frozen=True)
class Foot:
    """How the foot stands round the shell.

    ``shows_rel``: share of the circumference on which the foot is seen beyond the cap.
    ``uneven_mm``: root mean square of the spread about its mean, all round; ``one_sided_mm`` and
    ``one_sided_dir_deg``: amplitude and direction (from +x towards +y) of its first harmonic, a
    foot wider on one side; ``harmonics_mm``: amplitudes of the harmonics 1, 2, ... (one bulge,
    two, ...). What needs a measured foot is None, or empty, without one.
    """

    state: FootState
    shows_rel: Quantity
    uneven_mm: Quantity | None = None
    one_sided_mm: Quantity | None = None
    one_sided_dir_deg: float | None = None
    harmonics_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class Colour:
    """Mean colour of a cap in CIELAB, D65 (ISO/CIE 11664-4), without glints, shadows, cracks."""

    lightness: Quantity  # L*
    a: Quantity  # a*, green to red
    b: Quantity  # b*, blue to yellow

    @property
    def lab(self) -> "Floats":
        """(3,)"""
        import numpy as np

        return np.array([self.lightness.value, self.a.value, self.b.value])


@dataclass(frozen=True)
class SurfaceMark:
    """A dimple, a peak or a pinhole: where, how wide in plan view, how deep (a peak: how high; None
    for a pinhole), and ``confidence`` 0 to 1, by how much of the shading it explains."""

    centre_px: tuple[float, float]
    centre_mm: tuple[float, float]
    diameter_mm: Quantity
    depth_mm: Quantity | None
    confidence: float


@dataclass(frozen=True)
class TrayColour:
    """How the colours of one photo were taken.

    ``absolute``: by a grey strip; else only differences within the tray mean something, and no
    shell has a `Colour`. ``reference`` says what browning is counted from: "flavour NAME", or
    "tray median". ``evenness``: standard deviation of browning between shells, Delta E00.
    ``light_dir_deg``: where most light comes from, tray frame, from +x towards +y; None where it
    comes from straight above.
    """

    absolute: bool
    source: str
    reference: str
    evenness: Quantity | None = None
    light_dir_deg: float | None = None


@dataclass(frozen=True)
class Reference:
    """A flavour's wanted colour, kept by the baker: name and CIELAB (3,), D65."""

    flavour: str
    lab: tuple[float, float, float]
