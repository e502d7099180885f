"""A quantity as JSON, with its uncertainty and, where known, its causes."""

from math import inf
from typing import Any

from petitpied.domain.quantity import MANY_DOF, Quantity
from petitpied.domain.uncertainty import OWN_CAUSES, SHARED_CAUSES, quantity_of

Json = dict[str, Any]


def quantity_to_dict(quantity: Quantity | None) -> Json | None:
    """``u`` standard, ``u95`` expanded uncertainty; ``u_own`` and ``u_shared`` make up ``u``."""
    if quantity is None:
        return None
    return {
        "value": round(quantity.value, 4),
        "u": round(quantity.u, 4),
        "u95": round(quantity.u95, 4),
        "u_own": round(quantity.u_own, 4),
        "u_shared": round(quantity.u_shared, 4),
        "dof": round(quantity.dof, 1) if quantity.dof < MANY_DOF else None,
        **({"own": _parts(quantity.own)} if quantity.own else {}),
        **({"shared": _parts(quantity.shared)} if quantity.shared else {}),
    }


def _parts(contributions: tuple[float, ...]) -> list[float]:
    """Five decimals, so that sums keep four; a plain 0 where there is none."""
    return [round(v, 5) or 0 for v in contributions]


def quantity_from_dict(value: Json | None) -> Quantity | None:
    """Records written before there were budgets have neither degrees of freedom nor parts."""
    if value is None:
        return None
    own, shared = tuple(value.get("own", ())), tuple(value.get("shared", ()))
    if len(own) == len(OWN_CAUSES) and len(shared) == len(SHARED_CAUSES):
        return quantity_of(value["value"], own, shared)
    dof = value.get("dof")
    return Quantity(value["value"], value["u_own"], value["u_shared"], inf if dof is None else dof)
