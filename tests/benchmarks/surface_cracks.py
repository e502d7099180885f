"""Cracks against the truth of path-traced scenes: which shells, and how long."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from petitpied.domain.settings import Settings
from petitpied.inspection.one_photo import inspect_photo
from petitpied.photo.decode import decode_photo
from tests.benchmarks.scorer import project

#: cracks that count: what a baker sorts by, mm, or what the picture shows well, px
LONG_MM, WIDE_MM, WIDE_PX = 8.0, 0.5, 3.0
#: a shell is called cracked from this length of cracks on
CALLED_MM = 3.0


@dataclass(frozen=True)
class JudgedShell:
    """A true shell's cracks and what the record says of them, mm; ``decoys``: what it has on it
    that may be taken for one."""

    true_mm: float
    large: bool
    found_mm: float
    decoys: tuple[str, ...]


def judged_shells(picture: Path) -> list[JudgedShell]:
    """The shells of one scene that were found and measured."""
    truth = json.loads(picture.with_suffix(".json").read_text(encoding="utf-8"))
    record = inspect_photo(decode_photo(picture.read_bytes(), picture.name), Settings())
    found = [s for s in record.shells if s.crack_length_mm is not None]
    places = project(truth, np.array([s["centre_mm"] for s in truth["shells"]]))
    gap = np.hypot(*np.moveaxis(places[:, None] - [s.centre_px for s in found], 2, 0))
    shells = []
    for index, true in enumerate(truth["shells"]):
        nearest = int(gap[index].argmin())
        reach = np.hypot(*(np.array(true["silhouette_px"]) - places[index]).T).mean()
        length = found[nearest].crack_length_mm
        if gap[index, nearest] > 0.6 * reach or length is None:
            continue
        cracks = true["cracks"]
        wide_mm = min(WIDE_MM, WIDE_PX * true["max_feret_mm"] / 2 / reach)
        large = any(c["length_mm"] >= LONG_MM and c["width_mm"] >= wide_mm for c in cracks)
        total = float(sum(c["length_mm"] for c in cracks))
        seen = float(length.value) if found[nearest].cracks else 0.0
        shells.append(JudgedShell(total, large, seen, _decoys(true)))
    return shells


def _decoys(true: dict[str, Any]) -> tuple[str, ...]:
    kinds = list(true.get("toppings", ())) + list(true.get("decoy_toppings", ()))
    kinds += ["specks"] if true["decoy_specks"] else []
    kinds += ["swirl"] if true["decoy_swirl"] else []
    kinds += ["dimple"] if true.get("dimples") else []
    return tuple(sorted(set(kinds)))


def crack_lines(title: str, pictures: Sequence[Path]) -> Iterator[str]:
    """A Markdown table of the figures over scenes."""
    shells = [shell for picture in pictures for shell in judged_shells(picture)]
    large = [s for s in shells if s.large]
    clean = [s for s in shells if not s.true_mm and not s.decoys]
    decoys = [s for s in shells if not s.true_mm and s.decoys]
    called = [s.found_mm > CALLED_MM for s in large]
    false_clean = sum(s.found_mm > CALLED_MM for s in clean)
    false_decoy = sum(s.found_mm > CALLED_MM for s in decoys)
    right, missed = sum(called), len(large) - sum(called)
    f1 = 2 * right / max(2 * right + missed + false_clean + false_decoy, 1)
    off = [abs(s.found_mm / s.true_mm - 1) for s in large if s.found_mm > 0]
    yield f"\n## Cracks, {title}\n"
    yield "| scenes | cracked | called so | F1 | clean called cracked | decoys | length off |"
    yield "|---|---|---|---|---|---|---|"
    length = f"{100 * float(np.median(off)):.1f} %" if off else ""
    yield (
        f"| {len(pictures)} | {len(large)} | {right} | {f1:.3f} | {false_clean} of {len(clean)} "
        f"| {false_decoy} of {len(decoys)} | {length} |"
    )
    for kind in sorted({k for s in decoys for k in s.decoys}):
        here = [s for s in decoys if kind in s.decoys]
        yield f"  {kind}: {sum(s.found_mm > CALLED_MM for s in here)} of {len(here)}"
