"""Train the relief network and write it as ONNX.

``python -m tests.training.relief_train relief_traced.npz relief_drawn.npz --check later.npz --out
relief.onnx`` learns from the files of `relief_data` and prints, of the files to be checked, the
best F1 a shell for dimples and for peaks, and from which score on. Needs torch and numpy only.

The shipped weights: 24 wide, 390 s on one GPU (11,395 steps of 96 caps), seed 1, on 354 traced
trays (`varied_training`, `varied_fresh`, `alike_training`, `varied_tuning`, `varied_figures`,
`varied_held_out`, `third`, `held_out`, the odd ones of `two_lights`, `faulty_training`, and every
third of `null_bakes` and `spot_bakes`: 11,277 caps) and 90 drawn trays from seed 8,000 (1,280
caps); brightness and tint went to that run in steps of 0.04, as bytes. Chosen by `varied_later`,
which it did not learn from: best F1 0.939 for dimples (111 of 2,196 shells), 0.919 for peaks (74).

A narrower network can be taught by wider ones: ``--width 16 --teacher WIDE.pt``, as often as there
are teachers, whose mean opinion is half of the loss; ``--start`` goes on from weights.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F

from tests.training.pace import paced
from tests.training.relief_network import (
    CELLS,
    DILATIONS,
    PLANES,
    TOLD_MM,
    WIDTH,
    ReliefNet,
    as_raster,
    as_squares,
    at_least,
    cap_scores,
    kept_net,
    labels,
    loss_of,
    taught_loss,
)

BATCH, RATE, WEIGHT_DECAY = 96, 3e-3, 1e-4
#: caps with a dimple, a peak, something laid on them are drawn so much more often than others
MORE_DIMPLED, MORE_PEAKED, MORE_DECORATED = 3.0, 2.0, 1.0
#: half of the caps are turned by quarter turns, which leaves the raster as it is; the others by any
#: angle, and moved by up to this part of the radius
SHIFT_REL = 0.03
#: contrast of brightness and tint, noise, as `varied` uses them
CONTRAST_LOG, TINT_LOG, NOISE = 0.4, (-0.96, 0.64), 0.12
TEACHERS_SHARE = 0.5  # of the loss
#: scores that are tried for the best F1
SCORES = np.linspace(-3, 5, 81)

Caps = dict[str, torch.Tensor]
Batch = tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]


def load(files: Sequence[Path], device: torch.device) -> Caps:
    """The caps of files, their trays numbered through."""
    parts = [dict(np.load(file)) for file in files]
    first = np.cumsum([0, *(len(part["names"]) for part in parts)])
    for part, start in zip(parts, first, strict=False):
        part["tray"] = part["tray"] + start
        del part["names"]
    both = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return {name: torch.from_numpy(value).to(device) for name, value in both.items()}


def batch(data: Caps, index: torch.Tensor) -> tuple[torch.Tensor, Batch]:
    """Planes (B, 5, 2 CELLS, 2 CELLS), the last the common dome; and light (B, 2), dimples
    (B, D, 4), peak (B, 2), radius (B,)."""
    tray = data["tray"][index]
    squares = torch.cat([data["cap"][index].float(), data["common"][tray][:, None]], 1)
    true = (data["light"][tray], data["dimples"][index], data["peak"][index])
    return as_raster(squares), (*true, data["radius_mm"][index])


def as_input(planes: torch.Tensor, light: torch.Tensor) -> torch.Tensor:
    """Planes and the light's two, as the network takes them."""
    even = light[:, :, None, None].expand(-1, -1, 2 * CELLS, 2 * CELLS)
    return as_squares(torch.cat([planes, even], 1))


def turned(planes: torch.Tensor, true: Batch, rng: torch.Generator) -> tuple[torch.Tensor, Batch]:
    """Each cap turned, mirrored or not, and moved a little, with its light and its marks."""
    light, dimples, peak, radius = true
    count, device = len(planes), planes.device

    def uniform(*shape: int) -> torch.Tensor:
        return torch.rand(count, *shape, generator=rng, device=device)

    angle, mirrored, quarter = 2 * np.pi * uniform(), uniform() < 0.5, uniform() < 0.5
    angle = torch.where(quarter, torch.round(angle / (np.pi / 2)) * (np.pi / 2), angle)
    flip = torch.where(mirrored, -1.0, 1.0)
    c, s = torch.cos(angle), torch.sin(angle)
    # place in the new picture to place in the old one; its inverse is its transpose
    way = torch.stack([torch.stack([c * flip, -s], 1), torch.stack([s * flip, c], 1)], 1)
    shift = SHIFT_REL * (2 * uniform(2) - 1) * (~quarter)[:, None]
    grid = F.affine_grid(
        torch.cat([way, shift[:, :, None]], 2), list(planes.shape), align_corners=False
    )
    planes = F.grid_sample(planes, grid, "bilinear", "border", align_corners=False)
    back = way.transpose(1, 2)
    places = torch.einsum("nij,nkj->nki", back, dimples[..., :2] - shift[:, None])
    dimples = torch.cat([places, dimples[..., 2:]], 2)
    peak = torch.einsum("nij,nj->ni", back, peak - shift)
    return planes, (torch.einsum("nij,nj->ni", back, light), dimples, peak, radius)


def varied(
    planes: torch.Tensor, light: torch.Tensor, rng: torch.Generator
) -> tuple[torch.Tensor, torch.Tensor]:
    """Other contrast of all that light makes, other tints, noise where a place counts."""
    count, device = len(planes), planes.device

    def uniform(low: float, high: float) -> torch.Tensor:
        drawn = torch.rand(count, 1, 1, 1, generator=rng, device=device)
        return low + (high - low) * drawn

    beside, weight, tint, common = planes.split([1, 1, 2, 1], 1)
    contrast = torch.exp(uniform(-CONTRAST_LOG, CONTRAST_LOG))
    tint = tint * torch.exp(uniform(*TINT_LOG))
    if float(torch.rand(1, generator=rng, device=device)) < 0.5:
        tint = tint.flip(1)
    grain = torch.randn(beside.shape, generator=rng, device=device) * uniform(0, NOISE)
    planes = torch.cat([beside * contrast + grain * weight, weight, tint, common * contrast], 1)
    return planes, light * contrast[:, :, 0, 0]


def scores(net: ReliefNet, data: Caps) -> np.ndarray:
    """Highest score (N, 2) of a dimple and of a peak on each cap."""
    net.eval()
    found = []
    with torch.no_grad():
        for index in torch.arange(len(data["cap"]), device=data["cap"].device).split(256):
            planes, (light, *_) = batch(data, index)
            found.append(cap_scores(net(as_input(planes, light))).flatten(2).amax(2))
    net.train()
    return torch.cat(found).cpu().numpy()


def f1(true: np.ndarray, told: np.ndarray) -> float:
    hits = int((true & told).sum())
    return 2 * hits / max(1, int(true.sum()) + int(told.sum()))


def check(net: ReliefNet, data: Caps) -> str:
    """Best F1 a shell, and from which score on; shells whose dimples are all small left out."""
    found = scores(net, data)
    dimples = data["dimples"].cpu()
    dimpled = at_least(dimples, TOLD_MM).any(1).numpy()
    known = dimpled | torch.isnan(dimples[..., 2]).all(1).numpy()
    peaked = ~torch.isnan(data["peak"][:, 0]).cpu().numpy()
    told = []
    for kind, (name, true, counts) in enumerate(
        (("dimple", dimpled, known), ("peak", peaked, np.ones_like(peaked)))
    ):
        each = [f1(true[counts], found[counts, kind] >= score) for score in SCORES]
        best = int(np.argmax(each))
        told.append(f"{name} F1 {each[best]:.3f} from {SCORES[best]:.1f} ({int(true.sum())} true)")
    return f"{len(found)} shells: {', '.join(told)}"


def cap_weights(data: Caps) -> torch.Tensor:
    """How often each cap is drawn."""
    dimpled, peaked = (~torch.isnan(v) for v in (data["dimples"][:, 0, 0], data["peak"][:, 0]))
    more = MORE_DIMPLED * dimpled + MORE_PEAKED * peaked
    return 1 + more + MORE_DECORATED * data["decorated"]


def learnt(
    net: ReliefNet, data: Caps, index: torch.Tensor, rng: torch.Generator
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """What the network takes of a batch, says of it, and its loss by the truth."""
    planes, true = turned(*batch(data, index), rng)
    planes, light = varied(planes, true[0], rng)
    given = as_input(planes, light)
    out = net(given)
    return given, out, loss_of(out, labels(*true[1:]))


def train(
    net: ReliefNet,
    teachers: Sequence[ReliefNet],
    data: Caps,
    held: dict[str, Caps],
    options: argparse.Namespace,
) -> None:
    """Train in place, at the pace of `paced`."""
    device = data["cap"].device
    net.to(device).train()
    for teacher in teachers:
        teacher.to(device).eval().requires_grad_(False)
    rng = torch.Generator(device).manual_seed(options.seed)
    best = torch.optim.AdamW(net.parameters(), options.rate, weight_decay=WEIGHT_DECAY)
    often = cap_weights(data)
    for told in paced(best, options):
        index = torch.multinomial(often, options.batch, replacement=True, generator=rng)
        given, out, loss = learnt(net, data, index, rng)
        if teachers:
            taught = torch.stack([teacher(given)[:, :2] for teacher in teachers]).mean(0)
            theirs = TEACHERS_SHARE / (1 - TEACHERS_SHARE) * taught_loss(out, taught)
            loss = loss + theirs
        best.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        if told:
            print(f"{told}, loss {float(loss.detach()):.3f}", flush=True)
            for name, caps in held.items():
                print(f"  {name}: {check(net, caps)}", flush=True)


def export(net: ReliefNet, target: Path) -> None:
    """Write the network as ONNX for any number of caps, for OpenCV."""
    torch.onnx.export(
        net.cpu().float().eval(),
        (torch.zeros(3, 4 * PLANES, CELLS, CELLS),),
        str(target),
        opset_version=13,
        input_names=["caps"],
        output_names=["scores"],
        dynamic_axes={"caps": {0: "n"}, "scores": {0: "n"}},
        dynamo=False,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("files", type=Path, nargs="+", help="caps (.npz) to learn from")
    parser.add_argument("--check", type=Path, nargs="*", default=[], help="caps looked at only")
    parser.add_argument("--width", type=int, default=WIDTH)
    parser.add_argument("--blocks", type=int, default=len(DILATIONS))
    parser.add_argument("--minutes", type=float, default=6.5)
    parser.add_argument("--steps", type=int, default=0, help="ends there, not by the clock")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rate", type=float, default=RATE)
    parser.add_argument("--batch", type=int, default=BATCH)
    parser.add_argument("--start", type=Path, help="weights (.pt) to start from")
    parser.add_argument(
        "--teacher", type=Path, action="append", default=[], help="weights of a wider network"
    )
    parser.add_argument("--out", type=Path, default=Path("relief.onnx"))
    options = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(options.seed)
    net = kept_net(options.start) if options.start else ReliefNet(options.width, options.blocks)
    data = load(options.files, device)
    held = {file.name: load([file], device) for file in options.check}
    count = sum(p.numel() for p in net.parameters())
    print(f"{count} parameters, {len(data['cap'])} caps, {device}", flush=True)
    train(net, [kept_net(file) for file in options.teacher], data, held, options)
    torch.save(net.cpu().state_dict(), options.out.with_suffix(".pt"))
    export(net, options.out)
    print(f"{options.out}: {options.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
