"""What of a kitchen's file is missing, and what in it is never used."""

from collections.abc import Mapping

from petitpied.evening.kitchen import Kitchen
from petitpied.piping.forms import Form


def missing_parts(kitchen: Kitchen) -> tuple[tuple[str, str], ...]:
    """What the file leaves out, and what that means for an evening."""
    found: list[tuple[str, str]] = []
    if "oven" not in kitchen.parts:
        found.append(("[oven] name", "bakes cannot be kept in the history without it"))
    if "limits" not in kitchen.parts:
        found.append(("[limits.top]", "shells are judged by the trade's usual limits"))
    elif kitchen.limits is not None and kitchen.target_mm is None:
        found.append(("[limits.top] diameter_mm", "no size is wanted, so none can be off"))
    if "box" not in kitchen.parts:
        found.append(("[box]", "no boxes are filled"))
    if not kitchen.flavours:
        found.append(("flavours", "the flavour of each tray is asked, or taken from bake.toml"))
    return tuple(found)


def never_used(kitchen: Kitchen, facts: Mapping[str, object]) -> tuple[tuple[str, str], ...]:
    """Settings that nothing will ever read, and why; ``facts``: what [facts] holds."""
    found: list[tuple[str, str]] = []
    if "oven" in facts and kitchen.oven is not None:
        found.append(("[facts] oven", "the name in [oven] comes first"))
    if "flavour" in facts and kitchen.flavours:
        found.append(("[facts] flavour", "each tray has its own: flavours says which there are"))
    found += [(f"[facts] {name}", "it differs from bake to bake") for name in facts if name == "at"]
    if len(kitchen.racks) == 1:
        found.append(("[oven] racks", "with one rack there is nothing to choose"))
    box = kitchen.box
    if box is not None:
        if (box.slot_depth_mm is None) != (box.filling_height_mm is None):
            there = "slot_depth_mm" if box.filling_height_mm is None else "filling_height_mm"
            other = "filling_height_mm" if box.filling_height_mm is None else "slot_depth_mm"
            found.append((f"[box] {there}", f"thickness is checked only with {other} too"))
        if isinstance(box.flavours, Mapping) and kitchen.flavours:
            known = {name.casefold() for name in kitchen.flavours}
            found += [
                (f"[box] flavours {name}", "it is not among flavours, so no tray has it")
                for name in box.flavours
                if name.casefold() not in known
            ]
    limits = kitchen.limits
    if limits is not None and kitchen.form not in (None, Form.round):
        found += [
            (f"[limits] {name}", f"a shell that is {kitchen.form} is never round")
            for name in limits.names
            if name in ("roundness_mm", "circularity")
        ]
    return tuple(found)
