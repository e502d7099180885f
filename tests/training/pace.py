"""The pace of a training: how far it is, and the rate that belongs there."""

import argparse
import time
from collections.abc import Iterator

import numpy as np
import torch

WARM_STEPS, LEAST_RATE = 100, 1e-5


def paced(best: torch.optim.Optimizer, options: argparse.Namespace) -> Iterator[str]:
    """Sets the rate of ``best`` for each step: a warm start, then a half cosine from
    ``options.rate``. Ends after ``options.steps`` steps, or without them ``options.minutes``.
    Yields what there is to tell of the pace, once a minute, else nothing."""
    began = shown = time.monotonic()
    step, part = 0, 0.0
    while part < 1:
        rate = options.rate * min(1, step / WARM_STEPS) * 0.5 * (1 + np.cos(np.pi * part))
        for group in best.param_groups:
            group["lr"] = rate + LEAST_RATE
        now = time.monotonic()
        due = now - shown > 60
        shown = now if due else shown
        yield f"part {part:.2f}, {step} steps" if due else ""
        step += 1
        minutes = (time.monotonic() - began) / 60
        part = step / options.steps if options.steps else minutes / options.minutes
