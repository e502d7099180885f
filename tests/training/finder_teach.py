"""Teach the finder's narrow network by the wide one before it, and by the truth of drawn scenes.

``python -m tests.training.finder_teach BEFORE.onnx --scenes 880 --traced DIR --out finder.onnx``

A batch is twelve drawn scenes (`tests.training.data`), whose truth is known, and four path-traced
trays, of which only what the teacher sees in them is learnt; both turned, zoomed and lit anew, at
the size at which the network is run. The loss is `tests.training.train`'s plus the distance from
the teacher's maps. On a GPU a step is one CUDA graph (69 a second).
"""

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
import onnx
import torch
from torch import nn
from torch.nn import functional as F

from petitpied.finding.finder_network import INPUT_PX
from tests.training.data import render_set
from tests.training.edge_batches import ORDERS
from tests.training.finder_batches import colour, warp
from tests.training.graphs import Learner, stepper
from tests.training.network import TEACHER_WIDTHS, FinderNet
from tests.training.train import load, loss_of

DRAWN, TRACED = 12, 4
RATE, KEPT = 3e-3, 0.999


def from_onnx(file: Path, widths: tuple[int, ...]) -> FinderNet:
    """A network as it was written for OpenCV: its norms are part of its convolutions."""
    net = FinderNet(widths).eval()
    order: list[nn.Conv2d] = []
    norms: dict[nn.Conv2d, nn.BatchNorm2d] = {}

    def met(module: nn.Module, _given: object, _out: object) -> None:
        if isinstance(module, nn.Conv2d):
            order.append(module)
        elif isinstance(module, nn.BatchNorm2d):
            norms[order[-1]] = module

    hooks = [m.register_forward_hook(met) for m in net.modules()]
    with torch.no_grad():
        net(torch.zeros(1, 3, 64, 64))
    for hook in hooks:
        hook.remove()
    graph = onnx.load(file).graph
    arrays = {t.name: torch.tensor(onnx.numpy_helper.to_array(t)) for t in graph.initializer}
    nodes = [node for node in graph.node if node.op_type == "Conv"]
    for node, conv in zip(nodes, order, strict=True):
        conv.weight.data = arrays[node.input[1]]
        if len(node.input) > 2:
            conv.bias = nn.Parameter(arrays[node.input[2]])
        norm = norms.get(conv)
        if norm is not None:  # leave things as they are
            norm.weight.data.fill_(1)
            norm.bias.data.zero_()
            norm.running_mean.zero_()
            norm.running_var.fill_(1 - norm.eps)
    return net.requires_grad_(False)


def traced_pictures(folders: list[Path], size_px: tuple[int, int]) -> np.ndarray:
    """Pictures (N, height, width, 3) BGR, laid down where upright."""
    found = []
    for file in sorted(f for folder in folders for f in folder.glob("*.jpg")):
        picture = cv2.imread(str(file))
        if picture.shape[0] > picture.shape[1]:
            picture = np.ascontiguousarray(picture.transpose(1, 0, 2))
        found.append(cv2.resize(picture, size_px, interpolation=cv2.INTER_AREA))
    return np.array(found)


def apart(out: torch.Tensor, taught: torch.Tensor) -> torch.Tensor:
    """Distance of the maps from the teacher's: masks by cross entropy, votes where shells are."""
    out, taught = out.float(), taught.float()
    seen = torch.sigmoid(taught[:, :2])
    shell = F.binary_cross_entropy_with_logits(out[:, 0], seen[:, 0])
    cap = F.binary_cross_entropy_with_logits(out[:, 1], seen[:, 1], reduction="none")
    votes = (out[:, 2:] - taught[:, 2:]).abs().sum(1) * seen[:, 0]
    return (
        2 * shell
        + 1.5 * (cap * (0.3 + 0.7 * seen[:, 0])).mean()
        + 2 * votes.sum() / seen[:, 0].sum().clamp(min=1)
    )


def teach(
    net: FinderNet,
    teacher: FinderNet,
    drawn: dict[str, torch.Tensor],
    traced: torch.Tensor,
    minutes: float,
    rate_at_most: float,
) -> FinderNet:
    """The running mean of the net's weights."""
    device = traced.device
    on_gpu = device.type == "cuda"
    teacher.to(device, memory_format=torch.channels_last).eval()
    learner, orders = Learner(net, device, KEPT), torch.tensor(ORDERS, device=device)

    def planes(pictures: torch.Tensor) -> torch.Tensor:
        return pictures.permute(0, 3, 1, 2).float() / 255

    def step() -> None:
        some = torch.randint(len(drawn["picture"]), (DRAWN,), device=device)
        others = torch.randint(len(traced), (TRACED,), device=device)
        maps = torch.stack([drawn["shell"][some], drawn["cap"][some]], 1).float()
        known, labels = warp(planes(drawn["picture"][some]), maps, INPUT_PX)
        unknown, _ = warp(planes(traced[others]), None, INPUT_PX)
        x = colour(torch.cat([known, unknown]), orders)
        x = x.contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16, cache_enabled=False):
            out = net(x)
            with torch.no_grad():
                taught = teacher(x)
        assert labels is not None
        loss = loss_of(out[:DRAWN], labels[:, 0], labels[:, 1]) + apart(out, taught)
        learner.learn(loss)

    take = stepper(step, learner.best, device)
    began, steps = time.monotonic(), 0
    while (part := (time.monotonic() - began) / (60 * minutes)) < 1:
        falling = part / 0.05 if part < 0.05 else 0.5 * (1 + np.cos(np.pi * (part - 0.05) / 0.95))
        learner.rate.fill_(max(rate_at_most * falling, 1e-6))
        take()
        steps += 1
        if on_gpu and steps % 10 == 0:
            torch.cuda.current_stream().synchronize()
    print(f"{steps} steps", flush=True)
    return learner.mean


def export(net: FinderNet, target: Path) -> None:
    """Write the network as ONNX of the size at which it is run, for OpenCV."""
    net = net.cpu().float().eval().to(memory_format=torch.contiguous_format)
    example = torch.zeros(1, 3, INPUT_PX[1], INPUT_PX[0])
    torch.onnx.export(net, (example,), str(target), opset_version=17, dynamo=False)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("teacher", type=Path)
    parser.add_argument("--folder", type=Path, default=Path("finder_data"))
    parser.add_argument("--scenes", type=int, default=880)
    parser.add_argument("--first-seed", type=int, default=1_300_000)
    parser.add_argument("--workers", type=int, default=16)
    parser.add_argument("--traced", type=Path, nargs="+", required=True)
    parser.add_argument("--start", type=Path, help="weights to start from")
    parser.add_argument("--rate", type=float, default=RATE)
    parser.add_argument("--minutes", type=float, default=3.9)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--out", type=Path, default=Path("finder.onnx"))
    options = parser.parse_args()
    if not (options.folder / "train").exists():
        first, workers = options.first_seed, options.workers
        render_set(options.folder / "train", options.scenes, first, workers, 60)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(options.seed)
    net = FinderNet()
    if options.start:
        net.load_state_dict(torch.load(options.start, map_location="cpu"))
    drawn = load(options.folder / "train", device)
    height, width = drawn["picture"].shape[1:3]
    traced = torch.from_numpy(traced_pictures(options.traced, (width, height))).to(device)
    teacher = from_onnx(options.teacher, TEACHER_WIDTHS)
    net = teach(net, teacher, drawn, traced, options.minutes, options.rate)
    torch.save(net.state_dict(), options.out.with_suffix(".pt"))
    export(net, options.out)


if __name__ == "__main__":
    main()
