"""The uncertainty budget of one shell, as `petitpied inspect --budget` shows it."""

import numpy as np

from petitpied.domain.errors import ShellsError
from petitpied.domain.quantity import Quantity
from petitpied.domain.record import Record
from petitpied.domain.shell import Shell
from petitpied.domain.uncertainty import budget_of, difference, mean_of
from petitpied.sizing.what_shrinks import inputs_of, remedies
from petitpied.text.wording import printable

#: sizes whose budgets are shown, with their names
SHOWN = {
    "diameter_mm": "diameter",
    "cap_diameter_mm": "cap diameter",
    "foot_diameter_mm": "foot diameter",
    "feret_min_mm": "smallest width",
    "feret_max_mm": "largest width",
    "roundness_mm": "roundness",
    "foot_spread_mm": "foot spread",
    "lean_mm": "lean",
    "height_mm": "height",
}
#: a cause below this share of the combined uncertainty is left out of the table
SMALLEST_REL = 0.01


def budget_lines(record: Record, shell_id: str) -> tuple[str, ...]:
    """Budgets of one shell's sizes, largest causes first, and what would shrink the diameter's.

    ``shell_id``: "" takes the shell of median diameter.

    Raises
    ------
    ShellsError
        If there is no such shell, or it has no size in millimetres.
    """
    shell = _chosen(record, shell_id)
    lines = [f"uncertainty budget of shell {shell.id} (standard uncertainties; JCGM 100)"]
    for name, title in SHOWN.items():
        quantity: Quantity | None = getattr(shell, name)
        if quantity is not None and quantity.own:
            lines += _table(record, quantity, title)
        elif quantity is not None:
            own, shared = quantity.u_own, quantity.u_shared
            parts = f"{own:.3f} mm this shell's, {shared:.3f} mm the views'"
            lines += ["", f"{_result(quantity, title)}: {parts}"]
    lines += ["", *_comparisons(record, shell), "", *_remedies(record, shell)]
    return tuple(printable(line) for line in lines)


def _chosen(record: Record, shell_id: str) -> Shell:
    measured = [s for s in record.shells if s.diameter_mm is not None]
    if not measured:
        raise ShellsError(
            what="no budget can be shown",
            why="no shell has a size in millimetres",
            next_step="inspect a photo with a card, without --relative",
        )
    if shell_id:
        for shell in measured:
            if shell.id.casefold() == shell_id.casefold():
                return shell
        raise ShellsError(
            what=f"no budget of shell {printable(shell_id)[:12]}",
            why="no measured shell has this id",
            next_step=f"give one of {measured[0].id} to {measured[-1].id}",
        )
    ordered = sorted(measured, key=lambda s: s.diameter_mm.value if s.diameter_mm else 0.0)
    return ordered[len(ordered) // 2]


def _result(quantity: Quantity, title: str) -> str:
    return f"{title} {quantity.value:.2f} mm ± {quantity.u95:.2f} mm (95 %)"


def _table(record: Record, quantity: Quantity, title: str) -> list[str]:
    budget = budget_of(quantity)
    dof = f"{budget.quantity.dof:.0f}" if np.isfinite(budget.quantity.dof) else "many"
    lines = [
        "",
        f"{_result(quantity, title)} = {budget.coverage_factor:.2f} x {quantity.u:.3f} mm, "
        f"{dof} effective degrees of freedom",
        f"  {'cause':<34}{'input u':>11}{'sensitivity':>13}{'u, mm':>8}{'dof':>6}  of",
    ]
    inputs = inputs_of(record)
    for row in budget.rows:
        if row.u < SMALLEST_REL * quantity.u:
            continue
        size, unit = inputs.get(row.cause, (row.u, "mm"))
        shown = f"{size:.3g} {unit}" if unit else f"{100 * size:.3g} %"
        slope = row.u / size if size > 0 else 0.0
        whose = "all shells" if row.shared else "this shell"
        lines.append(
            f"  {row.cause:<34}{shown:>11}{slope:>13.3g}{row.u:>8.3f}{row.dof:>6.0f}  {whose}"
        )
    return lines


def _comparisons(record: Record, shell: Shell) -> list[str]:
    sizes = [s.diameter_mm for s in record.shells if s.diameter_mm is not None]
    assert shell.diameter_mm is not None
    mean = mean_of(sizes)
    others = [q for q in sizes if q is not shell.diameter_mm]
    lines = [f"the tray's mean diameter: {mean.value:.2f} mm ± {mean.u95:.2f} mm"]
    if others:
        typical = float(np.median([difference(shell.diameter_mm, q).u95 for q in others]))
        lines.append(f"a difference to another shell of this tray: ± {typical:.2f} mm")
    return lines


def _remedies(record: Record, shell: Shell) -> list[str]:
    assert shell.diameter_mm is not None
    found = remedies(record, shell, "diameter_mm")
    now = shell.diameter_mm.u95
    if not found:
        return ["nothing tried (card, lens, distance, second photo, liner) would shrink it by 2 %"]
    return ["what would shrink the diameter's ± most:"] + [
        f"  {r.words}: {now:.2f} to {r.predicted.u95:.2f} mm" for r in found
    ]
