"""The relief network: from what a cap shows beside the common dome to its dimples and its peak.

Input (S, 28, CELLS, CELLS): seven planes of the raster as squares of two by two, see
`petitpied.surface.relief.relief_network.planes`. Output (S, 4, CELLS, CELLS): scores (logarithm of
odds) of a dimple's middle and of a peak's there, a dimple's depth in mm, and its diameter, see
`DIAMETER_MM`. Residual convolutions of growing dilation (Yu & Koltun, ICLR 2016): each cell sees 11
others to every side, of 32 across.
"""

from pathlib import Path
from typing import NamedTuple

import torch
from torch import nn
from torch.nn import functional as F

#: as petitpied.surface.relief.relief_network
CELLS, PLANES, WITHIN_REL, DIAMETER_MM = 32, 7, 0.86, (4.0, 7.5)
WIDTH = 24
#: dilation of each block; a network with fewer blocks has the first of them
DILATIONS = (1, 2, 4, 2, 1)
#: smallest dimple whose cells are learnt, and smallest by which a cap counts as dimpled: diameter
#: and depth, mm; of a cap that has smaller ones only, it is not asked
LEARNT_MM, TOLD_MM = (5.6, 0.85), (6.0, 1.0)
#: a dimple's cells: its middle, and as far as no cell is said to have none, parts of the diameter
MIDDLE_REL, AROUND_REL = 0.28, 0.75
#: likewise a peak's, mm
PEAK_MM, AROUND_PEAK_MM = 2.2, 5.0
#: cells on marks, which are few, count so much more
MARK_WEIGHT = 4.0
#: weights of the parts of the loss: is there a dimple on the cap, a peak; depth, diameter, a mm
DIMPLED_WEIGHT, PEAKED_WEIGHT, DEPTH_WEIGHT, DIAMETER_WEIGHT = 0.5, 0.3, 0.3, 0.05
#: cells that make one unit of the loss over cells, and of that beside teachers
CELLS_A_UNIT, TAUGHT_CELLS_A_UNIT = 30.0, 15.0
#: added to scores where no mark is looked for
NEVER = -20.0


class Layer(nn.Sequential):
    """A 3 x 3 convolution, normalised (folded into its weights at export), rectified."""

    def __init__(self, inputs: int, outputs: int, dilation: int) -> None:
        super().__init__(
            nn.Conv2d(inputs, outputs, 3, padding=dilation, dilation=dilation, bias=False),
            nn.BatchNorm2d(outputs),
            nn.ReLU(),
        )


class ReliefNet(nn.Module):
    def __init__(self, width: int = WIDTH, blocks: int = len(DILATIONS)) -> None:
        super().__init__()
        self.first = Layer(4 * PLANES, width, 1)
        self.blocks = nn.ModuleList([Layer(width, width, d) for d in DILATIONS[:blocks]])
        self.head = nn.Conv2d(width, 4, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = self.first(x)
        for block in self.blocks:
            x = x + block(x)
        return self.head(x)


def kept_net(file: Path) -> ReliefNet:
    """A network from its weights, as wide and deep as they are."""
    state = torch.load(file, map_location="cpu", weights_only=True)
    blocks = sum(name.startswith("blocks.") and name.endswith(".0.weight") for name in state)
    net = ReliefNet(len(state["head.weight"][0]), blocks)
    net.load_state_dict(state)
    return net


def as_squares(planes: torch.Tensor) -> torch.Tensor:
    """Planes (S, C, 2 CELLS, 2 CELLS) as (S, 4 C, CELLS, CELLS): each cell's four places."""
    count, channels = planes.shape[:2]
    parts = planes.view(count, channels, CELLS, 2, CELLS, 2).permute(0, 1, 3, 5, 2, 4)
    return parts.reshape(count, 4 * channels, CELLS, CELLS)


def as_raster(squares: torch.Tensor) -> torch.Tensor:
    """Squares (S, C, 4, CELLS, CELLS) as planes (S, C, 2 CELLS, 2 CELLS)."""
    count, channels = squares.shape[:2]
    parts = squares.view(count, channels, 2, 2, CELLS, CELLS).permute(0, 1, 4, 2, 5, 3)
    return parts.reshape(count, channels, 2 * CELLS, 2 * CELLS)


def cell_places(device: torch.device) -> tuple[torch.Tensor, torch.Tensor]:
    """Place (x, y) of each cell's middle (CELLS, CELLS), -1 to 1 over the cap."""
    axis = (torch.arange(CELLS, device=device) + 0.5) / CELLS * 2 - 1
    y, x = torch.meshgrid(axis, axis, indexing="ij")
    return x, y


def looked_at(device: torch.device) -> torch.Tensor:
    """1 where marks are looked for (CELLS, CELLS), else 0."""
    return (torch.hypot(*cell_places(device)) < WITHIN_REL).float()


class Labels(NamedTuple):
    """What is true of each cell (S, CELLS, CELLS): ``dimple``, ``peak``, and where either counts;
    ``depth_mm``, ``diameter_mm`` of the dimple there; and of each cap (S,): ``dimpled``, whether
    that is known, ``peaked``."""

    dimple: torch.Tensor
    dimple_counts: torch.Tensor
    peak: torch.Tensor
    peak_counts: torch.Tensor
    depth_mm: torch.Tensor
    diameter_mm: torch.Tensor
    dimpled: torch.Tensor
    dimpled_known: torch.Tensor
    peaked: torch.Tensor


def at_least(dimples: torch.Tensor, least_mm: tuple[float, float]) -> torch.Tensor:
    """Which dimples (S, D, 4) there are of that diameter and depth: (S, D)."""
    return (dimples[..., 2] >= least_mm[0]) & (dimples[..., 3] >= least_mm[1])


def labels(dimples: torch.Tensor, peak: torch.Tensor, radius_mm: torch.Tensor) -> Labels:
    """Labels of caps with these dimples (S, D, 4), peak (S, 2) and radius (S,), as
    `relief_data` keeps them."""
    x, y = cell_places(peak.device)
    radius = radius_mm[:, None, None]
    diameter, depth = (torch.nan_to_num(dimples[..., i])[..., None, None] for i in (2, 3))
    away = torch.hypot(x - dimples[..., 0, None, None], y - dimples[..., 1, None, None])
    away = torch.nan_to_num(away * radius[:, None], nan=torch.inf)
    learnt = at_least(dimples, LEARNT_MM)[..., None, None]
    middle = (away < MIDDLE_REL * diameter) & learnt
    dimple = middle.any(1)
    around = (away < AROUND_REL * diameter).any(1) & ~dimple
    from_peak = torch.hypot(x - peak[:, 0, None, None], y - peak[:, 1, None, None]) * radius
    from_peak = torch.nan_to_num(from_peak, nan=torch.inf)
    on_peak = from_peak < PEAK_MM
    dimpled = at_least(dimples, TOLD_MM).any(1)
    none = torch.isnan(dimples[..., 2]).all(1)
    return Labels(
        dimple.float(),
        (~around).float(),
        on_peak.float(),
        (on_peak | (from_peak >= AROUND_PEAK_MM)).float(),
        (depth * middle).amax(1),
        (diameter * middle).amax(1),
        dimpled.float(),
        (dimpled | none).float(),
        (~torch.isnan(peak[:, 0])).float(),
    )


def cap_scores(out: torch.Tensor) -> torch.Tensor:
    """Scores (S, 2, CELLS, CELLS) of dimple and peak, `NEVER` where none is looked for."""
    return out[:, :2] + NEVER * (1 - looked_at(out.device))


def loss_of(out: torch.Tensor, true: Labels) -> torch.Tensor:
    """Cross entropy of cells and of caps, distance of depth and diameter on dimples."""
    inside = looked_at(out.device)
    total = out.new_zeros(())
    counted = ((true.dimple, true.dimple_counts), (true.peak, true.peak_counts))
    for kind, (mark, counts) in enumerate(counted):
        each = F.binary_cross_entropy_with_logits(out[:, kind], mark, reduction="none")
        each = each * counts * inside * (1 + (MARK_WEIGHT - 1) * mark)
        total = total + each.sum() / len(out) / CELLS_A_UNIT
    # a soft maximum: every cell that is high has its share of what the cap is told
    whole = torch.logsumexp(2 * cap_scores(out).flatten(2), 2) / 2
    dimpled = F.binary_cross_entropy_with_logits(whole[:, 0], true.dimpled, reduction="none")
    total = total + DIMPLED_WEIGHT * (dimpled * true.dimpled_known).mean()
    total = total + PEAKED_WEIGHT * F.binary_cross_entropy_with_logits(whole[:, 1], true.peaked)
    times, start = DIAMETER_MM
    on = true.dimple.sum().clamp(min=1)
    for weight, told, mm in (
        (DEPTH_WEIGHT, out[:, 2], true.depth_mm),
        (DIAMETER_WEIGHT, times * out[:, 3] + start, true.diameter_mm),
    ):
        total = total + weight * ((told - mm).abs() * true.dimple).sum() / on
    return total


def taught_loss(out: torch.Tensor, taught: torch.Tensor) -> torch.Tensor:
    """Cross entropy with what teachers say: their mean scores (S, 2, CELLS, CELLS)."""
    chance = torch.sigmoid(taught)
    each = F.binary_cross_entropy_with_logits(out[:, :2], chance, reduction="none")
    each = each * looked_at(out.device) * (1 + (MARK_WEIGHT - 1) * chance)
    return each.sum() / len(out) / TAUGHT_CELLS_A_UNIT
