"""What the sorting commands have in common: a lot from records, judged, and sheets of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from petitpied.domain.errors import LotError
from petitpied.figures.raster import jpeg_bytes
from petitpied.figures.tray.tray_sheet import photo_of, tray_sheet
from petitpied.files.records.lot_files import judged, lot_of, read_limits, read_trays
from petitpied.sorting.box_file import BoxKind
from petitpied.sorting.boxes import Macaron, macaron
from petitpied.sorting.lot import LotShell, Verdict
from petitpied.sorting.lot_trays import Aside, LotTray
from petitpied.sorting.pairing import Pairing, pair_lot
from petitpied.text.sheet_words import Code, Listing
from petitpied.text.wording import printable


@dataclass(frozen=True)
class LotOptions:
    """Options of a command on a lot; ``by_eye``: what shells to be checked by eye count as,
    None: they stay out."""

    records: Sequence[Path]
    limits: Path | None = None
    flavours: Sequence[str] = ()
    mix_flavours: bool = False
    by_eye: Verdict | None = None


@dataclass(frozen=True)
class PairedLot:
    """A lot with its pairs; ``names``: record to the tray's short name."""

    trays: tuple[LotTray, ...]
    shells: tuple[LotShell, ...]
    pairing: Pairing
    aside: tuple[Aside, ...]
    notes: tuple[str, ...]

    @property
    def names(self) -> Mapping[str, str]:
        return {tray.key: tray.name for tray in self.trays}


def judged_trays(options: LotOptions) -> tuple[tuple[LotTray, ...], tuple[str, ...]]:
    """Trays of a lot, with verdicts where limits are given, and notes.

    Raises
    ------
    OwnFileError, RecordError, LotError
        As `read_limits` and `read_trays`.
    """
    limits = None if options.limits is None else read_limits(options.limits)
    trays = read_trays(options.records, options.flavours)
    if limits is None:
        return trays, ()
    done, notes = [], []
    for tray in trays:
        record, found = judged(tray.record, limits)
        done.append(replace(tray, record=record))
        notes += [f"{tray.name}: {note}" for note in found]
    return tuple(done), tuple(notes)


def paired(options: LotOptions) -> PairedLot:
    """A lot read, judged and paired.

    Raises
    ------
    LotError
        If no two shells can be paired; and as `judged_trays`.
    """
    trays, notes = judged_trays(options)
    shells, aside = lot_of(trays)
    if len(trays) > 1 and not options.flavours:
        notes = (*notes, "no --flavour was given: all trays are taken as one flavour")
    if options.by_eye is not None:
        shells = tuple(
            replace(s, verdict=options.by_eye) if s.verdict is Verdict.BY_EYE else s for s in shells
        )
    if not shells:
        raise LotError(
            what="nothing to pair",
            why=f"none of {len(aside)} shells in the records was measured",
            next_step="see why in the records or their pictures, and take the photo again",
        )
    pairing = pair_lot(shells, mix_flavours=options.mix_flavours)
    if not pairing.pairs:
        raise LotError(
            what="no pair can be made",
            why=printable(_why_none(pairing)),
            next_step="give more trays, or wider limits",
        )
    return PairedLot(trays, shells, pairing, aside, notes)


def boxable(lot: PairedLot, kind: BoxKind, *, seconds: bool) -> tuple[Macaron, ...]:
    """The pairs that may go into boxes: those that pass, or the seconds.

    Raises
    ------
    LotError
        If there is none.
    """
    wanted = (Verdict.SECOND,) if seconds else (Verdict.PASS, None)
    found = tuple(
        macaron(number, pair, kind.filling_height_mm)
        for number, pair in enumerate(lot.pairing.pairs, 1)
        if pair.grade in wanted
    )
    if not found:
        raise LotError(
            what="nothing to box",
            why=f"none of the {len(lot.pairing.pairs)} pairs is {'second' if seconds else 'pass'}",
            next_step="leave out --seconds" if seconds else "try --seconds, or wider limits",
        )
    return found


def _why_none(pairing: Pairing) -> str:
    reasons: dict[str, int] = {}
    for left in pairing.left_over:
        reasons[left.why] = reasons.get(left.why, 0) + 1
    return "; ".join(
        f"{number} shell{'' if number == 1 else 's'}: {why}" for why, number in reasons.items()
    )


def sheets(
    trays: Sequence[LotTray],
    photos: Path | None,
    drawn: Callable[[LotTray], tuple[Mapping[str, Code], Listing]],
    suffix: str,
) -> tuple[dict[str, bytes], list[str]]:
    """A sheet for each tray by its file name; and the trays whose photo was not found."""
    pages, without = {}, []
    for tray in trays:
        photo = photo_of(tray, photos)
        if photo is None:
            without.append(tray.name)
        pages[f"{tray.name}{suffix}"] = jpeg_bytes(tray_sheet(tray, photo, *drawn(tray)))
    return pages, without


def without_photo_line(without: Sequence[str]) -> str:
    """Why a sheet shows outlines only."""
    names = ", ".join(without)
    return f"note: outlines only for {names}: the photo was not beside the record (see --photos)"
