"""Train the edge network and write it as ONNX.

``python -m tests.training.edge_train --scenes 600 --minutes 5 --traced DIR --out edges.onnx``

The shipped weights: 10,220 steps beside two wider networks that had been trained before
(``--teacher``, 32 and 48 wide; 0.4 of the loss), the first half of a schedule; from there
(``--start``, two thirds of the rate, 9 minutes) three runs, seeds 21 and 22 beside the teachers and
23 alone, and the mean of their weights (Wortsman et al., "Model soups", ICML 2022).
"""

import argparse
import time
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F

from tests.training.edge_data import (
    EDGE_HELD_OUT_SEED,
    EDGE_SEED,
    WIDE_FROM,
    WIDE_SAMPLES,
    WIDE_TO,
    joined,
    render_strips,
    traced_sets,
)
from tests.training.edge_network import (
    PAD,
    TEACHER_DILATIONS,
    AsShipped,
    EdgeNet,
    scores,
    squares,
)

#: shells of one tray, in one light, beside each other in a batch; trays, and drawn scenes
GROUP, TRAYS, DRAWN = 12, 6, 2
SAMPLES, FROM, TO = 96, 0.79, 1.21  # as petitpied.vision.edge_network
RATE = 3e-3
#: a share of the shells gets more ruffles than it has: every ray shifted, relative to the radius
ROUGH_SHARE, ROUGH_REL = 0.3, 0.004
TARGET_SIGMA = 1.2  # samples
CAP_WEIGHT = 0.6
TEACHERS_SHARE = 0.4  # of the loss

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
    count: int, rays: int, rng: torch.Generator, device: torch.device, rough: bool = False
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


def varied(colour: torch.Tensor, rng: torch.Generator) -> torch.Tensor:
    """Other lights, flavours, sharpness, noise, the same for each group of ``GROUP`` shells."""
    groups, device = len(colour) // GROUP, colour.device

    def uniform(low: float, high: float, *shape: int) -> torch.Tensor:
        drawn = torch.rand(groups, *shape, generator=rng, device=device)
        return (low + (high - low) * drawn).repeat_interleave(GROUP, 0)

    x = colour * torch.exp(uniform(-0.5, 0.25, 1, 1, 1))
    mean = x.mean(dim=1, keepdim=True)
    tint = torch.where(uniform(0, 1, 1, 1, 1) < 0.08, 0.0, torch.exp(uniform(-0.6, 0.4, 1, 1, 1)))
    x = mean + (x - mean) * tint
    order = torch.randperm(3, generator=rng, device=device)
    x = torch.where(uniform(0, 1, 1, 1, 1) < 0.3, x[:, order], x)
    cast = 0.12 * torch.randn(groups, 3, 1, 1, generator=rng, device=device)
    x = x + cast.repeat_interleave(GROUP, 0)
    soft = F.avg_pool2d(x, (3, 5), 1, (1, 2), count_include_pad=False)
    x = x + (soft - x) * uniform(-0.6, 1.0, 1, 1, 1)
    return x + uniform(0, 0.05, 1, 1, 1) * torch.randn(x.shape, generator=rng, device=device)


def turned(
    colour: torch.Tensor, edges: list[torch.Tensor], rng: torch.Generator
) -> tuple[torch.Tensor, list[torch.Tensor]]:
    """Each shell turned by its own random angle; the batch mirrored or not."""
    count, _, rays, samples = colour.shape
    by = torch.randint(rays, (count, 1), generator=rng, device=colour.device)
    which = (torch.arange(rays, device=colour.device)[None] + by) % rays
    if float(torch.rand(1, generator=rng, device=colour.device)) < 0.5:
        which = which.flip(1)
    colour = torch.gather(colour, 2, which[:, None, :, None].expand(-1, 3, -1, samples))
    return colour, [torch.gather(e, 1, which) for e in edges]


def as_input(colour: torch.Tensor) -> torch.Tensor:
    """Colours, and where along the ray each sample lies; rays wrapped round."""
    n, _, rays, samples = colour.shape
    place = torch.linspace(-1, 1, samples, device=colour.device).expand(n, 1, rays, samples)
    x = torch.cat([colour, place], 1)
    return torch.cat([x[:, :, -PAD:], x, x[:, :, :PAD]], 2)


def loss_of(logp: torch.Tensor, edges: list[torch.Tensor]) -> torch.Tensor:
    total = logp.new_zeros(())
    at = torch.arange(logp.shape[3], device=logp.device)
    for kind, weight in enumerate((1.0, CAP_WEIGHT)):
        edge = edges[kind]
        known = ~torch.isnan(edge) & (edge > 0) & (edge < len(at) - 1)
        place = torch.nan_to_num(edge)
        target = torch.softmax(-0.5 * ((at - place[..., None]) / TARGET_SIGMA) ** 2, dim=2)
        each = -(target * logp[:, kind]).sum(2)
        total = total + weight * (each * known).sum() / known.sum().clamp(min=1)
    return total


def taught_loss(
    logp: torch.Tensor, edges: list[torch.Tensor], taught: torch.Tensor | None
) -> torch.Tensor:
    """`loss_of`, and the distance from what teachers say (S, 2, RAYS, SAMPLES), where edges are
    known."""
    own = loss_of(logp, edges)
    if taught is None:
        return own
    last = logp.shape[3] - 1
    known = torch.stack([~torch.isnan(e) & (e > 0) & (e < last) for e in edges], 1)
    each = -(taught * logp).sum(3) * known
    apart = each.sum((0, 2)) / known.sum((0, 2)).clamp(min=1)
    theirs = apart[0] + CAP_WEIGHT * apart[1]
    return (1 - TEACHERS_SHARE) * own + TEACHERS_SHARE * theirs


def check(net: EdgeNet, data: Strips) -> str:
    """Mean absolute error of the likeliest place, and mean error, in % of the radius."""
    net.eval()
    device = data["light"].device
    rng = torch.Generator(device).manual_seed(1)
    off: list[list[torch.Tensor]] = [[], []]
    with torch.no_grad():
        for index in torch.arange(len(data["light"]), device=device).split(64):
            base = jittered_base(len(index), data["outer"].shape[1], rng, device)
            colour, *edges = cut(data, index, base)
            logp = scores(net(as_input(colour)))
            for kind in (0, 1):
                found = (logp[:, kind].exp() * torch.arange(SAMPLES, device=device)).sum(2)
                rest = (found - edges[kind]) * (TO - FROM) / (SAMPLES - 1) * 100
                off[kind].append(rest[~torch.isnan(rest)])
    net.train()
    both = [torch.cat(o) for o in off]
    return " ".join(
        f"{n} {float(o.abs().mean()):.3f} ({float(o.mean()):+.3f})"
        for n, o in zip(("outer", "cap"), both, strict=True)
    )


def groups_of(data: Strips) -> list[torch.Tensor]:
    """Numbers of the shells of each tray; of drawn scenes, of each run of ``GROUP`` shells."""
    if "tray" not in data:
        return list(torch.arange(len(data["light"]), device=data["light"].device).split(GROUP))
    members = [torch.where(data["tray"] == t)[0] for t in data["tray"].unique()]
    return [m for m in members if 2 * len(m) >= GROUP]


def drawn_batch(
    sets: list[Strips], groups: list[list[torch.Tensor]], rng: torch.Generator
) -> tuple[torch.Tensor, list[torch.Tensor]]:
    """One batch: ``DRAWN`` groups of the first set, and ``TRAYS`` of the second if there is one."""
    device = sets[0]["light"].device
    cuts = []
    for data, trays, count in zip(sets, groups, (DRAWN, TRAYS), strict=False):
        chosen = torch.randint(len(trays), (count,), generator=rng, device=device).tolist()
        index = torch.cat(
            [
                trays[k][torch.randint(len(trays[k]), (GROUP,), generator=rng, device=device)]
                for k in chosen
            ]
        )
        base = jittered_base(len(index), data["outer"].shape[1], rng, device, rough=True)
        cuts.append(cut(data, index, base))
    colour, outer, cap = (torch.cat(parts) for parts in zip(*cuts, strict=True))
    return turned(varied(colour, rng), [outer, cap], rng)


def train(
    sets: list[Strips],
    held: dict[str, Strips],
    minutes: float,
    seed: int,
    start: Path | None,
    teachers: list[EdgeNet],
) -> EdgeNet:
    device = sets[0]["light"].device
    for teacher in teachers:
        teacher.to(device).eval().requires_grad_(False)
    torch.manual_seed(seed)
    rng = torch.Generator(device).manual_seed(seed)
    net = EdgeNet().to(device)
    if start:
        net.load_state_dict(torch.load(start, map_location=device))
    best = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3)
    average = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    groups = [groups_of(data) for data in sets]
    began = shown = time.monotonic()
    step = 0
    while (part := (time.monotonic() - began) / (60 * minutes)) < 1:
        rate = RATE * (part / 0.05 if part < 0.05 else 0.5 * (1 + np.cos(np.pi * part)))
        for group in best.param_groups:
            group["lr"] = max(rate, 1e-6)
        colour, edges = drawn_batch(sets, groups, rng)
        with torch.autocast(device.type, torch.bfloat16):
            strips = as_input(colour)
            out = net(strips)
            theirs = [scores(teacher(strips)).exp() for teacher in teachers]
        taught = torch.stack(theirs).mean(0) if theirs else None
        loss = taught_loss(scores(out), edges, taught)
        best.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        average.update_parameters(net)
        step += 1
        if time.monotonic() - shown > 20:
            shown = time.monotonic()
            told = "; ".join(f"{n} {check(average.module, d)}" for n, d in held.items())
            print(f"part {part:.2f} loss {float(loss.detach()):.3f} {told}", flush=True)
    told = "; ".join(f"{n} {check(average.module, d)}" for n, d in held.items())
    print(f"final {told}, {step} steps", flush=True)
    return average.module


def export(net: EdgeNet, target: Path, rays: int = 192, shells: int = 12) -> None:
    """Write the network as ONNX for a fixed number of shells at a time, for OpenCV."""
    shipped = AsShipped(net.cpu().float()).eval()
    torch.onnx.export(
        shipped,
        (squares(torch.zeros(shells, 4, rays + 2 * PAD, SAMPLES)),),
        str(target),
        opset_version=17,
        input_names=["strips"],
        output_names=["scores"],
        dynamo=False,
    )


def _teacher(named: str) -> EdgeNet:
    file, width = named.rsplit(":", 1)
    net = EdgeNet(int(width), TEACHER_DILATIONS)
    net.load_state_dict(torch.load(file, map_location="cpu"))
    return net


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=3000)
    parser.add_argument("--held-out", type=int, default=32)
    parser.add_argument("--workers", type=int, default=16)
    parser.add_argument("--render-minutes", type=float, default=60.0)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--first-seed", type=int, default=EDGE_SEED)
    parser.add_argument("--traced", type=Path, nargs="*", default=[], help="folders, or .npz")
    parser.add_argument("--check", type=Path, help="strips (.npz) looked at only")
    parser.add_argument("--kept", type=Path, help=".npz of strips drawn before, or to be kept")
    parser.add_argument("--start", type=Path, help="weights to start from")
    parser.add_argument(
        "--teacher", action="append", default=[], help="FILE.pt:WIDTH of a wider network"
    )
    parser.add_argument("--out", type=Path, default=Path("edges.onnx"))
    options = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    if options.kept and options.kept.exists():
        drawn = dict(np.load(options.kept))
    else:
        drawn = render_strips(
            options.first_seed, options.scenes, options.workers, options.render_minutes
        )
        if options.kept:
            np.savez(options.kept, **drawn)
    held = {
        "drawn": to_device(
            render_strips(EDGE_HELD_OUT_SEED, options.held_out, options.workers, 2), device
        )
    }
    if options.check:
        held["traced"] = to_device(dict(np.load(options.check)), device)
    sets = [to_device(drawn, device)]
    if options.traced:
        files = [dict(np.load(p)) for p in options.traced if p.suffix == ".npz"]
        folders = list(traced_sets([p for p in options.traced if p.suffix != ".npz"]))
        sets.append(to_device(joined(files + folders), device))
    teachers = [_teacher(named) for named in options.teacher]
    net = train(sets, held, options.minutes, options.seed, options.start, teachers)
    torch.save(net.state_dict(), options.out.with_suffix(".pt"))
    export(net, options.out)
    print(f"{options.out}: {options.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
