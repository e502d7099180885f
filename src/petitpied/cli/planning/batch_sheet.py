"""From a recipe file and a measured yield to what to weigh, in words."""

from collections.abc import Sequence
from pathlib import Path

from petitpied.domain.errors import LotError, OutputError
from petitpied.files.output_files import prepare_folder, write_all
from petitpied.files.own.recipe_file import STARTER, read_recipe
from petitpied.piping.recipe import Batch, GoodShare, Recipe, scaled
from petitpied.text.cautions import BATCH_CAUTIONS
from petitpied.text.wording import printable, share

#: one egg white of a medium egg, g: common practice, no source
EGG_WHITE_G = 33.0


def write_starter(path: Path) -> None:
    """The starter recipe; a file that is there is never replaced.

    Raises
    ------
    OutputError
        If there is a file of that name, or it cannot be written.
    """
    if path.exists():
        raise OutputError(
            what=f"{printable(path.name)} was not written",
            why="there is a file of this name already",
            next_step="give another name: petitpied batch NAME.toml --new",
        )
    prepare_folder(path.parent)
    write_all({path: STARTER.encode()})


def counted_yield(good: int, baked: int) -> GoodShare:
    """Yield as the baker counted it.

    Raises
    ------
    LotError
        If there are more good shells than baked ones.
    """
    if good > baked:
        raise LotError(
            what="the yield cannot be used",
            why=f"{good} good shells of {baked} baked are more than all",
            next_step="give --good no more than --baked",
        )
    return GoodShare(good, baked)


def judged_yield(records: Sequence[Path], limits: Path) -> GoodShare:
    """Shells that pass the baker's limits among all judged ones of the records.

    Raises
    ------
    RecordError, OwnFileError, LotError
        If a file cannot be used, or there is no shell to judge.
    """
    from petitpied.files.records.lot_files import judged, read_limits, read_trays
    from petitpied.sorting.lot import Verdict

    wanted = read_limits(limits)
    trays = read_trays(records)
    shells = [s for tray in trays for s in judged(tray.record, wanted)[0].shells]
    if not shells:
        raise LotError(
            what="no yield",
            why="there is no shell in the records",
            next_step="inspect a photo of a baked tray first",
        )
    return GoodShare(sum(s.verdict == Verdict.PASS for s in shells), len(shells))


def batch_lines(
    recipe_path: Path, boxes: int, yielded: GoodShare | None, chance: float
) -> tuple[str, ...]:
    """What the command prints.

    Raises
    ------
    OwnFileError
        If the recipe cannot be used.
    LotError
        If so many shells are needed that no batch can give them.
    """
    recipe = read_recipe(recipe_path)
    try:
        batch = scaled(recipe, boxes, yielded, chance)
    except ValueError as error:
        raise LotError(
            what=f"no batch for {boxes} boxes",
            why=str(error),
            next_step="bake for fewer boxes, accept a lower --chance, or mend the yield first",
        ) from None
    return (*_plan_lines(recipe, batch, yielded), *_weights(recipe, batch), *_caution_lines())


def _plan_lines(recipe: Recipe, batch: Batch, yielded: GoodShare | None) -> list[str]:
    box_word = "box" if batch.boxes == 1 else "boxes"
    lines = [
        f"{recipe.name or 'recipe'}: {batch.boxes} {box_word} of {recipe.macarons_per_box} "
        f"macarons need {batch.shells_needed} good shells",
    ]
    if yielded is None or batch.chance is None:
        lines.append("no yield given: every shell is taken as good (count some: --good, --baked)")
    else:
        lines.append(
            f"yield {yielded.good} of {yielded.baked} ({share(yielded.good / yielded.baked)}): "
            f"pipe {batch.shells} shells; chance of enough {share(batch.chance)}"
        )
    tray_word = "tray" if batch.trays == 1 else "trays"
    lines.append(
        f"{batch.shells} shells on {batch.trays} {tray_word}, "
        f"{recipe.batter_g_per_shell:g} g batter each, {100 * recipe.lost_rel:.0f} % lost: "
        f"{_grams(batch.batter_g)} batter"
    )
    return lines


def _weights(recipe: Recipe, batch: Batch) -> list[str]:
    """A line an ingredient, grams right-aligned, and what share of the egg white it is."""
    width = max(len(name) for name, _, _ in batch.ingredients)
    lines = ["weigh"]
    for name, grams, ratio in batch.ingredients:
        note = f"{100 * ratio:.0f} % of the egg white"
        if name == recipe.egg_white:
            note = f"the base; about {grams / EGG_WHITE_G:.1f} whites of {EGG_WHITE_G:.0f} g"
        lines.append(f"  {name:<{width}}  {_grams(grams):>9}  {note}")
    return lines


def _grams(grams: float) -> str:
    """To about half a per cent, as kitchen scales read: 0.1 g below 20 g, else 1 g."""
    return f"{grams:.1f} g" if grams < 20 else f"{grams:,.0f} g".replace(",", " ")


def _caution_lines() -> list[str]:
    return [f"caution: {caution.text}" for caution in BATCH_CAUTIONS]
