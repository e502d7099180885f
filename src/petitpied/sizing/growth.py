"""Growth in the oven: the shells of a baked tray matched to the piped rounds of a photo before.

Rounds stay where they were piped, so the same shells lie in the same pattern, whichever way each
photo was taken and wherever the card lay (`petitpied.domain.same_tray`).
"""

from dataclasses import replace

import numpy as np

from petitpied.domain.errors import ShellsError
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.same_tray import register
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of

#: with a foot on more than this share of the rounds the first photo shows a baked tray
FEET_REL = 0.5
_PRINT = SHARED_CAUSES.index("card print")


def with_growth(after: Record, before: Record) -> Record:
    """The baked tray's record with each shell's piped diameter and growth.

    Parameters
    ----------
    after, before : Record
        Both with a scale; ``before`` of the piped rounds, the card perhaps laid anew.

    Raises
    ------
    ShellsError
        If there is no scale, or the photos do not show the same rounds.
    """
    baked, piped = _measured(after), _measured(before)
    if after.view is None or before.view is None:
        raise _not_the_same("there are no millimetres without a card", "use a card in both photos")
    found = None
    if baked and piped:
        found = register(_centres(baked), _centres(piped))
    if found is None:
        raise _not_the_same(
            f"the {len(piped)} shells of {before.photo.file} do not lie where the {len(baked)} of "
            f"{after.photo.file} do",
            "take the photo before baking of this very tray, or leave out --before",
        )
    same_card = {c.id for c in after.cards} == {c.id for c in before.cards}
    partner = {baked[i].id: piped[j] for i, j in found.pairs}
    shells = tuple(_grown(s, partner.get(s.id), same_card=same_card) for s in after.shells)
    return replace(
        after, shells=shells, warnings=(*after.warnings, *_doubts(before, partner, shells))
    )


def _measured(record: Record) -> list[Shell]:
    return [s for s in record.shells if s.centre_mm is not None and s.diameter_mm is not None]


def _centres(shells: list[Shell]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.array([s.centre_mm for s in shells], float).reshape(-1, 2)


def _grown(shell: Shell, piped: Shell | None, *, same_card: bool) -> Shell:
    if shell.not_measured is not None:
        return shell
    if piped is None or piped.diameter_mm is None or shell.diameter_mm is None:
        reason = "this shell was not found in the photo before baking"
        return replace(
            shell, missing=(*shell.missing, ("piped_diameter_mm", reason), ("growth", reason))
        )
    growth = growth_of(shell.diameter_mm, piped.diameter_mm, same_card=same_card)
    return replace(shell, piped_diameter_mm=piped.diameter_mm, growth=growth)


def growth_of(baked: Quantity, piped: Quantity, *, same_card: bool) -> Quantity:
    """Baked minus piped diameter, mm, of one shell in two photos.

    Photos are independent, each with its own view, light and ring heights; only the print of a
    card that lies in both is the same error twice (JCGM 100, equation 16) and all but cancels.
    """
    value = baked.value - piped.value
    told = all(
        len(q.own) == len(OWN_CAUSES) and len(q.shared) == len(SHARED_CAUSES)
        for q in (baked, piped)
    )
    if not told:
        return Quantity(
            value,
            float(np.hypot(baked.u_own, piped.u_own)),
            float(np.hypot(baked.u_shared, piped.u_shared)),
            min(baked.dof, piped.dof),
        )
    first, second = np.array(baked.shared), np.array(piped.shared)
    # the sign says how shells of the tray move together: that of the baked photo is kept
    shared = np.copysign(np.hypot(first, second), first)
    if same_card:
        shared[_PRINT] = first[_PRINT] - second[_PRINT]
    return quantity_of(value, np.hypot(baked.own, piped.own).tolist(), shared.tolist())


def _doubts(before: Record, partner: dict[str, Shell], shells: tuple[Shell, ...]) -> list[str]:
    result = []
    feet = [s.foot_spread_mm is not None and s.foot_spread_mm.value > 0 for s in partner.values()]
    if np.mean(feet) > FEET_REL:
        result.append(
            f"{sum(feet)} of {len(feet)} rounds in {before.photo.file} have a foot: is it the "
            "photo from before baking?"
        )
    growth = [s.growth for s in shells if s.growth is not None]
    middle = float(np.median([g.value for g in growth]))
    if middle < -float(np.median([g.u95 for g in growth])):
        result.append(
            f"the shells shrank by {-middle:.1f} mm: were the photos before and after baking "
            "changed over?"
        )
    return result


def _not_the_same(why: str, next_step: str) -> ShellsError:
    return ShellsError(what="the growth cannot be measured", why=why, next_step=next_step)
