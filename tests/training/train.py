"""Train the wide network that taught the finder's, and write it as ONNX (`finder_teach`).

``python -m tests.training.train --scenes 6000 --held-out 200 --minutes 5 --out finder.onnx``

Everything random comes from ``--seed``. Uses a GPU where there is one. Prints the loss and the
overlap (intersection over union of the shell mask) on the held-out scenes; the score by shells
found is `tests.training.score`.
"""

import argparse
import time
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F

from tests.training.data import FIRST_SEED, HELD_OUT_SEED, SIZE_PX, render_set
from tests.training.edge_batches import ORDERS
from tests.training.finder_batches import colour, warp
from tests.training.network import OFFSET_UNIT_PX, TEACHER_WIDTHS, FinderNet

BATCH = 16
MOST_SHELLS = 160  # numbers a picture may hold


def load(folder: Path, device: torch.device) -> dict[str, torch.Tensor]:
    """The rendered arrays as tensors on ``device``, still uint8."""
    count = int((folder / "count.txt").read_text())
    return {
        n: torch.from_numpy(np.load(folder / f"{n}.npy", mmap_mode="r")[:count].copy()).to(device)
        for n in ("picture", "shell", "cap")
    }


def targets(
    shell: torch.Tensor, cap: torch.Tensor
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
    """Soft shell and cap masks, vectors to the middle, and where these count; half size."""
    n, height, width = shell.shape
    shown = (shell > 0).float()
    soft = F.avg_pool2d(torch.stack([shown, cap * shown], 1), 2)
    half = shell[:, ::2, ::2].long().clamp(max=MOST_SHELLS - 1)
    ys, xs = torch.meshgrid(
        torch.arange(height // 2, device=shell.device) * 2 + 0.5,
        torch.arange(width // 2, device=shell.device) * 2 + 0.5,
        indexing="ij",
    )
    flat = half.flatten(1)
    sums = torch.zeros(n, 3, MOST_SHELLS, device=shell.device)
    stacked = torch.stack([torch.ones_like(xs), xs, ys]).flatten(1)[None].expand(n, -1, -1)
    sums.scatter_add_(2, flat[:, None].expand(-1, 3, -1), stacked)
    middle = sums[:, 1:] / sums[:, :1].clamp(min=1)
    own = torch.gather(middle, 2, flat[:, None].expand(-1, 2, -1)).view(
        n, 2, height // 2, width // 2
    )
    vector = (own - torch.stack([xs, ys])[None]) / OFFSET_UNIT_PX
    area = torch.gather(sums[:, 0], 1, flat).view(n, height // 2, width // 2).clamp(min=40)
    inside = (half > 0).float()
    # every shell counts alike, large or small
    return soft[:, 0], soft[:, 1], vector, inside * (600 / area).clamp(0.1, 4)


def loss_of(out: torch.Tensor, shell: torch.Tensor, cap: torch.Tensor) -> torch.Tensor:
    """Cross entropy of both masks, overlap of the shell mask, distance of the votes."""
    soft, soft_cap, vector, weight = targets(shell, cap)
    out = out.float()
    edge = 1 + 3 * ((soft > 0.02) & (soft < 0.98)).float()
    bce = (F.binary_cross_entropy_with_logits(out[:, 0], soft, reduction="none") * edge).mean()
    # the cap counts where there is a shell: outside the mask says it all
    cap_each = F.binary_cross_entropy_with_logits(out[:, 1], soft_cap, reduction="none")
    cap_loss = (cap_each * (0.3 + 0.7 * (soft > 0.02).float())).mean()
    p = torch.sigmoid(out[:, 0])
    dice = 1 - (2 * (p * soft).sum((1, 2)) + 50) / (p.sum((1, 2)) + soft.sum((1, 2)) + 50)
    far = (out[:, 2:] - vector).abs().sum(1) * weight
    size = OFFSET_UNIT_PX / 8
    return (
        2 * bce
        + 1.5 * cap_loss
        + 0.5 * dice.mean()
        + 0.25 * size * far.sum() / weight.sum().clamp(min=1)
    )


def batches(
    data: dict[str, torch.Tensor], index: torch.Tensor
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    picture = data["picture"][index].permute(0, 3, 1, 2).float() / 255
    return picture, data["shell"][index].float(), data["cap"][index].float()


def held_out_score(net: FinderNet, data: dict[str, torch.Tensor]) -> tuple[float, float]:
    """Mean loss and mean overlap of the shell mask."""
    net.eval()
    losses, overlaps = [], []
    with torch.no_grad():
        for index in torch.arange(len(data["picture"])).split(BATCH):
            picture, shell, cap = batches(data, index.to(data["picture"].device))
            out = net(picture)
            losses.append(float(loss_of(out, shell, cap)))
            truth = F.avg_pool2d((shell > 0).float()[:, None], 2)[:, 0] > 0.5
            found = out[:, 0] > 0
            overlaps.append(float((truth & found).sum() / (truth | found).sum().clamp(min=1)))
    net.train()
    return float(np.mean(losses)), float(np.mean(overlaps))


def train(folder: Path, minutes: float, seed: int, start: Path | None) -> FinderNet:
    """Train for a stated time; one-cycle learning rate (Smith & Topin 2018)."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(seed)
    rng = torch.Generator(device).manual_seed(seed)
    orders = torch.tensor(ORDERS, device=device)
    data, check = load(folder / "train", device), load(folder / "held_out", device)
    net = FinderNet(TEACHER_WIDTHS).to(device).to(memory_format=torch.channels_last)
    if start:
        net.load_state_dict(torch.load(start, map_location=device))
    best = torch.optim.AdamW(net.parameters(), lr=3e-3, weight_decay=1e-3)
    average = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    began, step, shown = time.monotonic(), 0, time.monotonic()
    while (part := (time.monotonic() - began) / (60 * minutes)) < 1:
        rate = 3e-3 * (
            part / 0.05 if part < 0.05 else 0.5 * (1 + np.cos(np.pi * (part - 0.05) / 0.95))
        )
        for group in best.param_groups:
            group["lr"] = max(rate, 1e-6)
        index = torch.randint(len(data["picture"]), (BATCH,), generator=rng, device=device)
        picture, shell, cap = batches(data, index)
        picture, labels = warp(picture, torch.stack([shell, cap], 1), SIZE_PX)
        assert labels is not None
        picture = colour(picture, orders).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, torch.bfloat16):
            out = net(picture)
        loss = loss_of(out, labels[:, 0], labels[:, 1])
        best.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        average.update_parameters(net)
        step += 1
        if time.monotonic() - shown > 30:
            shown = time.monotonic()
            print(
                f"step {step} part {part:.2f} loss {float(loss.detach()):.4f} held out",
                *(f"{v:.4f}" for v in held_out_score(average.module, check)),
                flush=True,
            )
    print(
        "final",
        *(f"{v:.4f}" for v in held_out_score(average.module, check)),
        f"steps {step}",
        flush=True,
    )
    return average.module


def export(net: FinderNet, target: Path) -> None:
    """Write the network as ONNX of fixed input size, for OpenCV."""
    net = net.cpu().float().eval().to(memory_format=torch.contiguous_format)
    example = torch.zeros(1, 3, SIZE_PX[1], SIZE_PX[0])
    torch.onnx.export(
        net,
        (example,),
        str(target),
        opset_version=17,
        input_names=["picture"],
        output_names=["maps"],
        dynamo=False,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--scenes", type=int, default=6000)
    parser.add_argument("--held-out", type=int, default=160)
    parser.add_argument("--workers", type=int, default=16)
    parser.add_argument("--render-minutes", type=float, default=60.0)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--first-seed", type=int, default=FIRST_SEED)
    parser.add_argument("--folder", type=Path, default=Path("finder_data"))
    parser.add_argument("--start", type=Path)
    parser.add_argument("--out", type=Path, default=Path("finder.onnx"))
    options = parser.parse_args()
    began = time.monotonic()
    if not (options.folder / "train").exists():
        render_set(
            options.folder / "held_out", options.held_out, HELD_OUT_SEED, options.workers, 10
        )
        render_set(
            options.folder / "train",
            options.scenes,
            options.first_seed,
            options.workers,
            options.render_minutes,
        )
    print(f"rendered in {time.monotonic() - began:.0f} s", flush=True)
    net = train(options.folder, options.minutes, options.seed, options.start)
    torch.save(net.state_dict(), options.out.with_suffix(".pt"))
    export(net, options.out)
    print(f"{options.out}: {options.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
