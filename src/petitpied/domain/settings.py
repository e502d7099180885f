"""What the baker may choose for one inspection."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the command line reads this module before anything heavy
    from petitpied.domain.lens import LensProfile
    from petitpied.domain.surface import Reference


@dataclass(frozen=True, slots=True)
class Settings:
    """Options of `petitpied.inspection.one_photo.inspect_photo`.

    ``shell_height_mm``: height of a typical shell by the baker's ruler, top of the cap above
    the liner. ``focal_35mm_mm`` overrides the photo's own 35-mm-equivalent focal length.
    ``profiles``: lens profiles to choose from; where ``profile_named``, the baker named the only
    one of them, and it must fit. ``print_scales``: card's letter and its printed size over the
    nominal one, for cards that are not printed true. ``reference``: the flavour's colour that
    browning is counted from; else the tray's median. ``crack_confidence``: from which confidence
    on a dark line is told as a crack; else the tool's own.
    """

    relative: bool = False
    shell_height_mm: float | None = None
    card_thickness_mm: float = 0.3
    focal_35mm_mm: float | None = None
    print_scales: tuple[tuple[str, float], ...] = ()
    profiles: "tuple[LensProfile, ...]" = ()
    profile_named: bool = False
    reference: "Reference | None" = None
    crack_confidence: float | None = None
