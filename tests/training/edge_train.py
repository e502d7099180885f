"""Train the edge network and write it as ONNX.

``python -m tests.training.edge_train --scenes 500 --minutes 8 --traced DIR --out edges.onnx``

How the shipped weights came about stands in `README.md` beside this. On a GPU the
whole step, with the making of its batch, is one CUDA graph and nothing waits for the host: 110 to
230 steps a second, ten times as many as step by step.
"""

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch

from tests.training.edge_batches import (
    DRAWN,
    FROM,
    ORDERS,
    PAD,
    SAMPLES,
    TO,
    TRAYS,
    Drawable,
    Strips,
    as_input,
    cut,
    jittered_base,
    to_device,
    turned,
    varied,
)
from tests.training.edge_data import (
    EDGE_HELD_OUT_SEED,
    EDGE_SEED,
    joined,
    render_strips,
    traced_sets,
)
from tests.training.edge_network import (
    TEACHER_DILATIONS,
    AsShipped,
    EdgeNet,
    FromOnnx,
    scores,
    squares,
)
from tests.training.graphs import Learner, stepper

RATE = 3e-3
TARGET_SIGMA = 1.2  # samples
CAP_WEIGHT = 0.6
#: of the running mean of the weights that is kept from step to step: the mean is what is written
KEPT = 0.9995


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
    logp: torch.Tensor, edges: list[torch.Tensor], taught: torch.Tensor | None, share: float
) -> torch.Tensor:
    """`loss_of`, and by ``share`` the distance from what teachers say (S, 2, RAYS, SAMPLES), where
    edges are known."""
    own = loss_of(logp, edges)
    if taught is None:
        return own
    last = logp.shape[3] - 1
    known = torch.stack([~torch.isnan(e) & (e > 0) & (e < last) for e in edges], 1)
    each = -(taught * logp).sum(3) * known
    apart = each.sum((0, 2)) / known.sum((0, 2)).clamp(min=1)
    return (1 - share) * own + share * (apart[0] + CAP_WEIGHT * apart[1])


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


@dataclass(frozen=True)
class Schedule:
    """``minutes`` of a cosine's descent from ``rate``, ``share`` of the loss the teachers'."""

    minutes: float
    rate: float
    share: float


def train(
    sets: list[Strips],
    held: dict[str, Strips],
    schedule: Schedule,
    net: EdgeNet,
    teachers: list[torch.nn.Module],
    kept_file: Path,
) -> EdgeNet:
    """The running mean of the net's weights, also written to ``kept_file`` on the way."""
    device = sets[0]["light"].device
    on_gpu = device.type == "cuda"
    for teacher in teachers:
        teacher.to(device, memory_format=torch.channels_last).eval()
    learner = Learner(net, device, KEPT)
    average, rate = learner.mean, learner.rate
    drawables = [Drawable.of(d, n) for d, n in zip(sets, (DRAWN, TRAYS), strict=False)]
    orders = torch.tensor(ORDERS, device=device)
    last_loss = torch.zeros((), device=device)

    def step() -> None:
        colour, outer, cap = (
            torch.cat(parts) for parts in zip(*(d.drawn() for d in drawables), strict=True)
        )
        colour, edges = turned(varied(colour, orders), [outer, cap])
        strips = as_input(colour).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16, cache_enabled=False):
            out = net(strips)
            with torch.no_grad():
                theirs = [scores(teacher(strips)).exp() for teacher in teachers]
        taught = torch.stack(theirs).mean(0) if theirs and schedule.share else None
        loss = taught_loss(scores(out), edges, taught, schedule.share)
        learner.learn(loss)
        with torch.no_grad():
            last_loss.copy_(loss)

    take = stepper(step, learner.best, device)

    def told() -> str:
        return "; ".join(f"{n} {check(average, d)}" for n, d in held.items())

    began = shown = time.monotonic()
    steps = 0
    while (part := (time.monotonic() - began) / (60 * schedule.minutes)) < 1:
        falling = part / 0.04 if part < 0.04 else 0.5 * (1 + np.cos(np.pi * part))
        rate.fill_(max(schedule.rate * falling, 1e-6))
        take()
        steps += 1
        if on_gpu and steps % 20 == 0:
            torch.cuda.current_stream().synchronize()
        if time.monotonic() - shown > 40:
            shown = time.monotonic()
            print(f"part {part:.2f} step {steps} loss {float(last_loss):.3f} {told()}", flush=True)
            torch.save(average.state_dict(), kept_file)
    print(f"final {told()}, {steps} steps", flush=True)
    return average


def export(net: EdgeNet, target: Path, rays: int = 192, shells: int = 6) -> None:
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


def _teacher(named: str) -> torch.nn.Module:
    file, width = named.rsplit(":", 1)
    if file.endswith(".onnx"):
        return FromOnnx(Path(file), int(width))
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
        "--teacher", action="append", default=[], help="FILE.pt:WIDTH or FILE.onnx:WIDTH of another"
    )
    parser.add_argument("--share", type=float, default=0.4, help="of the loss, the teachers'")
    parser.add_argument("--rate", type=float, default=RATE)
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
    torch.manual_seed(options.seed)
    net, kept_file = EdgeNet(), options.out.with_suffix(".pt")
    if options.start:
        net.load_state_dict(torch.load(options.start, map_location="cpu"))
    net = train(
        sets,
        held,
        Schedule(options.minutes, options.rate, options.share),
        net,
        [_teacher(named) for named in options.teacher],
        kept_file,
    )
    torch.save(net.state_dict(), kept_file)
    export(net, options.out)
    print(f"{options.out}: {options.out.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
