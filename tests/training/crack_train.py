"""Train the judge of cracks and write its two files.

``python -m tests.training.crack_train lines.npz textured.npz --check later.npz --out cracks.onnx
--weights cracks_weights.py`` learns from the files of `crack_data`, prints of the files to be
checked how many shells with a large crack are found and how many without any are called cracked,
for each tenth of the score, and writes the strip network and the judge's numbers, as
`petitpied.surface.cracks.strips` and `cracks.verdict` take them. Needs torch and numpy only.

The shipped weights, 24 wide, 0.15 without evidence: 8,647 steps of 96 lines on one GPU, seed 2, on
the 12,528 lines of traced trays (``varied``'s rough surface was not there yet); from there
(``--start``) 2,250 steps of 40 lines at 0.0015, seed 41, and 7,000 of 64 at 0.002, seed 42, on two
slow cores, with the lines of 82 of these trays given a rough surface (5,424) and of 23 drawn ones
(3,399), and 6,000 of 64 at 0.002, seed 43, with those of 104 made unsharp too (3,840). Of 2,196
shells of `varied_later`, which it did not learn from, it finds 257 of 266 with a large crack and
calls 5 without any cracked, at 0.7; of ten trays of that set given other rough surfaces, it calls 3
of 590 other lines a crack, and 73 of 78 cracks; of 12 made unsharp 1 of 439, and 49 of 56.
"""

import argparse
import textwrap
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as F

from tests.training.crack_network import ACROSS, ALONG, HIDDEN, WIDTH, CrackNet
from tests.training.pace import paced

#: as petitpied.surface.cracks.strips, and cracks_profile for the shoulders
DARK, LOWEST, HIGHEST, SCALE = 4.0, -2.0, 1.0, 2.0
STEP_ACROSS_MM, SHOULDER_MM = 0.1, (0.9, 2.0)
BATCH, RATE, DECAY = 96, 3e-3, 1e-3
#: a scene with more lines of a kind (a dusty one) counts as this many
MOST_A_SCENE = 30.0
#: lines that are no cracks count so much more than cracks in all, so that sound shells are seldom
#: called cracked
OTHERS_WEIGHT = 1.6
#: evidence is left out for this share of the lines, so that the strips are learnt from too, and is
#: uncertain by this many standard deviations
WITHOUT_EVIDENCE, EVIDENCE_NOISE = 0.3, 0.15
#: what the truth says is believed to this part
BELIEF = 0.98
#: how strips are varied, as `varied` uses them: contrast, tint, sharpness, noise; and the shares of
#: batches with channels swapped and mirrored, of lines run through the other way
CONTRAST, TINT, SOFT, NOISE = (0.75, 1.3), (0.4, 1.5), (-0.8, 1.0), 0.04
SWAPPED, MIRRORED, BACKWARDS = 0.4, 0.5, 0.5
#: half of the batches get a rough surface of up to this contrast, in patches of two places or more
ROUGH = 0.12
TENTHS = np.arange(3, 10) / 10

Lines = dict[str, torch.Tensor]


def load(files: Sequence[Path], device: torch.device) -> tuple[Lines, tuple[str, ...]]:
    """The lines of files, profiles, caps and trays numbered through, with ``usual`` (L, 3), the
    logarithm of the cap beside each line; and the names of the evidence."""
    parts = [dict(np.load(file)) for file in files]
    names = {tuple(part.pop("evidence_names").tolist()) for part in parts}
    if len(names) != 1:
        raise SystemExit("the files hold different evidence: collect them anew")
    profiles = caps = trays = 0
    for part in parts:
        part["start"], part["stop"] = (part["start"][s] + profiles for s in (np.s_[:-1], np.s_[1:]))
        part["cap"], part["cap_tray"] = part["cap"] + caps, part["cap_tray"] + trays
        profiles += len(part["strip"])
        caps += len(part["cap_tray"])
        trays += len(part.pop("names"))
    both = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    data = {name: torch.from_numpy(value).to(device) for name, value in both.items()}
    data["usual"] = usual_beside(data)
    return data, names.pop()


def usual_beside(data: Lines) -> torch.Tensor:
    """Median logarithm (L, 3) of the shoulders' brightness along each line."""
    away = np.abs(np.arange(ACROSS) - ACROSS // 2) * STEP_ACROSS_MM
    beside = (away >= SHOULDER_MM[0] - 1e-9) & (away <= SHOULDER_MM[1] + 1e-9)
    where = torch.from_numpy(np.flatnonzero(beside)).to(data["strip"].device)
    shoulder = torch.log(data["strip"][:, where].float().mean(1) + DARK)
    bounds = zip(data["start"].tolist(), data["stop"].tolist(), strict=True)
    return torch.stack([shoulder[start:stop].median(0).values for start, stop in bounds])


def cut(
    data: Lines, index: torch.Tensor, rng: torch.Generator | None
) -> tuple[torch.Tensor, torch.Tensor]:
    """Logarithms (B, 3, ALONG, ACROSS) of a stretch of each line relative to the cap beside it, and
    which places (B, ALONG) are on the line: its middle, or with ``rng`` a random stretch."""
    start, stop = data["start"][index], data["stop"][index]
    spare = (stop - start - ALONG).clamp(min=0)
    if rng is None:
        first = spare // 2
    else:
        part = torch.rand(len(index), generator=rng, device=index.device)
        first = (part * (spare + 1)).long()
    place = torch.arange(ALONG, device=index.device)
    on = place < (stop - start)[:, None]
    at = torch.minimum((start + first)[:, None] + place, (stop - 1)[:, None])
    log = torch.log(data["strip"][at].float() + DARK) - data["usual"][index][:, None, None]
    return log.permute(0, 3, 1, 2), on


def as_input(log: torch.Tensor, on: torch.Tensor) -> torch.Tensor:
    return log.clamp(LOWEST, HIGHEST) * SCALE * on[:, None, :, None]


def varied(log: torch.Tensor, whole: torch.Tensor, rng: torch.Generator) -> torch.Tensor:
    """Other contrasts, flavours, sharpness, noise; mirrored; off the line by a place at most; of
    lines that fill the strip (``whole``, (B,)), half run through the other way."""
    count, device = len(log), log.device

    def uniform(low: float, high: float) -> torch.Tensor:
        drawn = torch.rand(count, 1, 1, 1, generator=rng, device=device)
        return low + (high - low) * drawn

    def chance() -> float:
        return float(torch.rand(1, generator=rng, device=device))

    x = log * uniform(*CONTRAST)
    mean = x.mean(1, keepdim=True)
    x = mean + (x - mean) * uniform(*TINT)
    if chance() < SWAPPED:
        x = x[:, torch.randperm(3, generator=rng, device=device)]
    if chance() < MIRRORED:
        x = x.flip(3)
    soft = F.avg_pool2d(x, (1, 3), 1, (0, 1), count_include_pad=False)
    x = torch.where(uniform(0, 1) < 0.5, x, x + (soft - x) * uniform(*SOFT))
    x = x + uniform(0, NOISE) * torch.randn(x.shape, generator=rng, device=device)
    if chance() < 0.5:
        grain = torch.randn(count, 1, ALONG // 2, ACROSS // 2, generator=rng, device=device)
        if chance() < 0.6:
            grain = 3 * F.avg_pool2d(grain, 3, 1, 1)
        x = x + ROUGH * uniform(0, 1) ** 2 * F.interpolate(grain, (ALONG, ACROSS), mode="bilinear")
    back = (uniform(0, 1) < BACKWARDS) & whole[:, None, None, None]
    x = torch.where(back, x.flip(2), x)
    return torch.roll(x, int(torch.randint(-1, 2, (1,), generator=rng, device=device)), 3)


def line_weights(data: Lines) -> torch.Tensor:
    """How often each line is drawn (L,): within cracks and others, a scene with many lines no more
    than one with `MOST_A_SCENE`; both kinds alike, but for `OTHERS_WEIGHT`."""
    label = data["label"].cpu().numpy()
    tray = data["cap_tray"][data["cap"]].cpu().numpy()
    weights = np.ones(len(label))
    for one in np.unique(tray):
        for kind in (0, 1):
            here = (tray == one) & (label == kind)
            weights[here] = min(1.0, MOST_A_SCENE / max(int(here.sum()), 1))
    for kind, share in ((0, OTHERS_WEIGHT), (1, 1.0)):
        weights[label == kind] *= share / max(weights[label == kind].sum(), 1e-9)
    return torch.from_numpy(weights).float().to(data["label"].device)


def scores(net: CrackNet, data: Lines) -> np.ndarray:
    """Chance (L,) that each line is a crack."""
    net.eval()
    told = []
    with torch.no_grad():
        for index in torch.arange(len(data["label"]), device=data["label"].device).split(256):
            log, on = cut(data, index, None)
            given = net.standardised(data["evidence"][index])
            told.append(torch.sigmoid(net(as_input(log, on), on.float(), given)))
    net.train()
    return torch.cat(told).cpu().numpy()


def check(net: CrackNet, data: Lines) -> str:
    """For each tenth of the score: F1 a shell, of those with a large crack and those with none."""
    likeliest = np.zeros(len(data["cap_tray"]))
    np.maximum.at(likeliest, data["cap"].cpu().numpy(), scores(net, data))
    large = data["cap_large"].cpu().numpy()
    sound = ~data["cap_cracked"].cpu().numpy()
    told = []
    for score in TENTHS:
        hits, false = (int((likeliest[kind] >= score).sum()) for kind in (large, sound))
        f1 = 2 * hits / max(1, hits + int(large.sum()) + false)
        told.append(f"{score:.1f}: {f1:.3f} ({hits}, {false})")
    return f"{large.sum()} large, {sound.sum()} none; F1 (hits, false) " + ", ".join(told)


def train(net: CrackNet, data: Lines, options: argparse.Namespace) -> None:
    """Train in place, at the pace of `paced`."""
    device = data["label"].device
    net.to(device).train()
    rng = torch.Generator(device).manual_seed(options.seed)
    best = torch.optim.AdamW(net.parameters(), options.rate, weight_decay=options.decay)
    often = line_weights(data)
    for told in paced(best, options):
        index = torch.multinomial(often, options.batch, replacement=True, generator=rng)
        log, on = cut(data, index, rng)
        strips = as_input(varied(log, on[:, -1], rng), on)
        given = net.standardised(data["evidence"][index])
        given = given + EVIDENCE_NOISE * torch.randn(given.shape, generator=rng, device=device)
        known = torch.rand(len(index), 1, generator=rng, device=device) >= options.without_evidence
        believed = 0.5 + BELIEF * (data["label"][index] - 0.5)
        out = net(strips, on.float(), given * known)
        loss = F.binary_cross_entropy_with_logits(out, believed)
        best.zero_grad(set_to_none=True)
        loss.backward()
        best.step()
        if told:
            print(f"{told}, loss {float(loss.detach()):.3f}", flush=True)


def export(net: CrackNet, target: Path) -> None:
    """Write the strip network as ONNX for any number of lines, for OpenCV."""
    torch.onnx.export(
        net.strip.cpu().float().eval(),
        (torch.zeros(3, 3, ALONG, ACROSS),),
        str(target),
        opset_version=13,
        input_names=["strips"],
        output_names=["points"],
        dynamic_axes={"strips": {0: "n"}, "points": {0: "n"}},
        dynamo=False,
    )


def weights_module(net: CrackNet, evidence_names: Sequence[str]) -> str:
    """The judge's numbers as a module of the package."""
    state = {name: value.detach().cpu().numpy() for name, value in net.state_dict().items()}
    arrays = {
        "MEAN": state["mean"],
        "SPREAD": state["spread"],
        "HIDDEN": state["hidden.weight"].T,
        "HIDDEN_BIAS": state["hidden.bias"],
        "OUT": np.concatenate([state["out.weight"][0], state["out.bias"]]),
    }
    lines = ['"""Weights of `cracks.verdict`, written by `tests/training/crack_train.py`."""', ""]
    lines += ["# HIDDEN: means and maxima along the strip, then:"]
    rows = range(0, len(evidence_names), 6)
    lines += [f"# {', '.join(evidence_names[i : i + 6])}" for i in rows]
    lines += ["# fmt: off"]
    for name, value in arrays.items():
        told = ", ".join(_row(part) for part in value)
        wrapped = textwrap.wrap(told, 100, initial_indent="    ", subsequent_indent="    ")
        lines += [f"{name} = (", *wrapped, ")"]
    return "\n".join(lines) + "\n"


def _row(value: np.ndarray) -> str:
    if np.ndim(value) == 0:
        return f"{float(value):.4g}"
    return "(" + ", ".join(f"{float(v):.4g}" for v in value) + ")"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("files", type=Path, nargs="+", help="lines (.npz) to learn from")
    parser.add_argument("--check", type=Path, nargs="*", default=[], help="lines looked at only")
    parser.add_argument("--width", type=int, default=WIDTH)
    parser.add_argument("--minutes", type=float, default=6.5)
    parser.add_argument("--steps", type=int, default=0, help="ends there, not by the clock")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="weights (.pt) to go on from")
    parser.add_argument("--rate", type=float, default=RATE)
    parser.add_argument("--batch", type=int, default=BATCH, help="lines a step")
    parser.add_argument("--decay", type=float, default=DECAY, help="of the weights")
    parser.add_argument(
        "--without-evidence", type=float, default=WITHOUT_EVIDENCE, help="share of the lines"
    )
    parser.add_argument("--out", type=Path, default=Path("cracks.onnx"))
    parser.add_argument("--weights", type=Path, default=Path("cracks_weights.py"))
    options = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(options.seed)
    data, names = load(options.files, device)
    net = CrackNet(data["evidence"], options.width, HIDDEN)
    if options.start:
        net.load_state_dict(torch.load(options.start))
    count = sum(p.numel() for p in net.parameters())
    cracks = int(data["label"].sum())
    told = f"{len(data['label'])} lines, {cracks} on cracks"
    print(f"{count} parameters, {told}, {device}", flush=True)
    train(net, data, options)
    for file in options.check:
        print(f"{file.name}: {check(net, load([file], device)[0])}", flush=True)
    torch.save(net.cpu().state_dict(), options.out.with_suffix(".pt"))
    export(net, options.out)
    options.weights.write_text(weights_module(net, names), encoding="utf-8")
    print(f"{options.out}: {options.out.stat().st_size / 1e3:.0f} kB; {options.weights}")


if __name__ == "__main__":
    main()
