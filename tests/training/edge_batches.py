"""Batches of shells' strips for the training of the edge network, each shell seen anew: about
another coarse outline, in another light, turned. Nothing waits for the host."""

from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional as F

from tests.training.edge_data import WIDE_FROM, WIDE_SAMPLES, WIDE_TO
from tests.training.edge_network import PAD

#: shells of one tray, in one light, beside each other in a batch; trays, and drawn scenes
GROUP, TRAYS, DRAWN = 12, 6, 2
SAMPLES, FROM, TO = 96, 0.79, 1.21  # as petitpied.contours.edge_network
#: a share of the shells gets more ruffles than it has: every ray shifted, relative to the radius
ROUGH_SHARE, ROUGH_REL = 0.3, 0.004
#: orders that three colours can be put in
ORDERS = ((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))

Strips = dict[str, torch.Tensor]


def to_device(data: dict[str, np.ndarray], device: torch.device) -> Strips:
    return {name: torch.from_numpy(np.ascontiguousarray(v)).to(device) for name, v in data.items()}


def log_colour(strip: torch.Tensor) -> torch.Tensor:
    return 2.2 * torch.log((strip.float() + 4.0) / 255.0)


def cut(data: Strips, index: torch.Tensor, base: torch.Tensor) -> tuple[torch.Tensor, ...]:
    """Input colours (B, 3, RAYS, SAMPLES) about ``base`` (B, RAYS) radii relative to the stored
    radius, and the true edges as sample numbers (B, RAYS)."""
    strip = log_colour(data["strip"][index]) - data["light"][index][:, None, None, :]
    part = torch.linspace(FROM, TO, SAMPLES, device=base.device)
    at = (base[:, :, None] * part - WIDE_FROM) / (WIDE_TO - WIDE_FROM) * (WIDE_SAMPLES - 1)
    low = at.floor().clamp(0, WIDE_SAMPLES - 2)
    share = (at - low).clamp(0, 1)[..., None]
    low = low.long()[..., None].expand(-1, -1, -1, 3)
    colour = torch.gather(strip, 2, low) * (1 - share) + torch.gather(strip, 2, low + 1) * share
    step = (TO - FROM) / (SAMPLES - 1)
    edges = [(data[n][index] / base - FROM) / step for n in ("outer", "cap")]
    return colour.permute(0, 3, 1, 2), *edges


def jittered_base(
    count: int, rays: int, rng: torch.Generator | None, device: torch.device, rough: bool = False
) -> torch.Tensor:
    """A coarse outline as the finder may give it, off in size, place and shape; ``rough``: for
    some shells off from ray to ray too."""
    angle = torch.arange(rays, device=device) * (2 * np.pi / rays)

    def normal(sigma: float) -> torch.Tensor:
        return sigma * torch.randn(count, 1, generator=rng, device=device)

    far = torch.rand(count, 1, generator=rng, device=device) < 0.15  # as on a printed ring
    base = 1 + torch.where(far, normal(0.08), normal(0.03))
    for order, sigma in ((1, 0.02), (2, 0.012), (3, 0.006)):
        base = (
            base
            + normal(sigma) * torch.cos(order * angle)
            + normal(sigma) * torch.sin(order * angle)
        )
    base = base.expand(-1, rays)
    if not rough:
        return base
    each, some = torch.rand(2, count, 1, generator=rng, device=device)
    by_ray = torch.randn(count, rays, generator=rng, device=device)
    return base + ROUGH_REL * each * by_ray * (some < ROUGH_SHARE)


def varied(colour: torch.Tensor, orders: torch.Tensor) -> torch.Tensor:
    """Other lights, flavours, sharpness, noise, the same for each group of ``GROUP`` shells;
    ``orders``: `ORDERS` on the device."""
    groups, device = len(colour) // GROUP, colour.device

    def of_all(by_group: torch.Tensor) -> torch.Tensor:
        return by_group.repeat_interleave(GROUP, 0, output_size=groups * GROUP)

    def uniform(low: float, high: float, *shape: int) -> torch.Tensor:
        return of_all(low + (high - low) * torch.rand(groups, *shape, device=device))

    x = colour * torch.exp(uniform(-0.5, 0.25, 1, 1, 1))
    mean = x.mean(dim=1, keepdim=True)
    tint = torch.where(uniform(0, 1, 1, 1, 1) < 0.08, 0.0, torch.exp(uniform(-0.6, 0.4, 1, 1, 1)))
    x = mean + (x - mean) * tint
    order = of_all(orders[torch.randint(len(ORDERS), (groups,), device=device)])
    swapped = torch.gather(x, 1, order[:, :, None, None].expand(-1, -1, *x.shape[2:]))
    x = torch.where(uniform(0, 1, 1, 1, 1) < 0.3, swapped, x)
    x = x + of_all(0.12 * torch.randn(groups, 3, 1, 1, device=device))
    soft = F.avg_pool2d(x, (3, 5), 1, (1, 2), count_include_pad=False)
    x = x + (soft - x) * uniform(-0.6, 1.0, 1, 1, 1)
    return x + uniform(0, 0.05, 1, 1, 1) * torch.randn(x.shape, device=device)


def turned(
    colour: torch.Tensor, edges: list[torch.Tensor]
) -> tuple[torch.Tensor, list[torch.Tensor]]:
    """Each shell turned by its own random angle; the batch mirrored or not."""
    count, _, rays, samples = colour.shape
    by = torch.randint(rays, (count, 1), device=colour.device)
    which = (torch.arange(rays, device=colour.device)[None] + by) % rays
    which = torch.where(torch.rand(1, device=colour.device) < 0.5, which.flip(1), which)
    colour = torch.gather(colour, 2, which[:, None, :, None].expand(-1, 3, -1, samples))
    return colour, [torch.gather(e, 1, which) for e in edges]


def as_input(colour: torch.Tensor) -> torch.Tensor:
    """Colours, and where along the ray each sample lies; rays wrapped round."""
    n, _, rays, samples = colour.shape
    place = torch.linspace(-1, 1, samples, device=colour.device).expand(n, 1, rays, samples)
    x = torch.cat([colour, place], 1)
    return torch.cat([x[:, :, -PAD:], x, x[:, :, :PAD]], 2)


def groups_of(data: Strips) -> list[torch.Tensor]:
    """Numbers of the shells of each tray; of drawn scenes, of each run of ``GROUP`` shells."""
    if "tray" not in data:
        return list(torch.arange(len(data["light"]), device=data["light"].device).split(GROUP))
    members = [torch.where(data["tray"] == t)[0] for t in data["tray"].unique()]
    return [m for m in members if 2 * len(m) >= GROUP]


@dataclass(frozen=True)
class Drawable:
    """Strips to draw groups of shells from: ``table`` (trays, shells) of their numbers, short trays
    filled up; ``many`` (trays,) they have; ``count`` groups in a batch."""

    data: Strips
    table: torch.Tensor
    many: torch.Tensor
    count: int

    @classmethod
    def of(cls, data: Strips, count: int) -> "Drawable":
        groups = groups_of(data)
        longest = max(len(g) for g in groups)
        rows = [g[torch.arange(longest, device=g.device) % len(g)] for g in groups]
        many = torch.tensor([float(len(g)) for g in groups], device=rows[0].device)
        return cls(data, torch.stack(rows), many, count)

    def drawn(self) -> tuple[torch.Tensor, ...]:
        device = self.table.device
        tray = torch.randint(len(self.table), (self.count,), device=device)
        place = (torch.rand(self.count, GROUP, device=device) * self.many[tray][:, None]).long()
        index = self.table[tray[:, None], place].flatten()
        rays = self.data["outer"].shape[1]
        return cut(self.data, index, jittered_base(len(index), rays, None, device, rough=True))
