"""A training step taken by itself, or on a GPU recorded once and replayed; the running mean of the
weights, which is what is kept."""

import copy
from collections.abc import Callable
from typing import Generic, TypeVar

import torch

Step = Callable[[], None]
Net = TypeVar("Net", bound=torch.nn.Module)


class Learner(Generic[Net]):
    """A network on its device, its optimiser with a ``rate`` that can be set while a step is being
    replayed, and the running ``mean`` of its weights, of which ``kept`` stays from step to step."""

    def __init__(self, net: Net, device: torch.device, kept: float) -> None:
        self.net = net.to(device, memory_format=torch.channels_last).train()
        self.mean = copy.deepcopy(self.net).requires_grad_(False)
        self.rate, self.kept = torch.tensor(1e-5, device=device), kept
        on_gpu = device.type == "cuda"
        self.best = torch.optim.AdamW(
            net.parameters(), lr=self.rate, weight_decay=1e-3, capturable=on_gpu, foreach=on_gpu
        )
        self._own, self._mean = (
            [*n.parameters(), *(b for b in n.buffers() if b.is_floating_point())]
            for n in (self.net, self.mean)
        )

    def learn(self, loss: torch.Tensor) -> None:
        """One step down the loss, and one of the mean."""
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.best.step()
        with torch.no_grad():
            torch._foreach_lerp_(self._mean, self._own, 1 - self.kept)


def stepper(step: Step, best: torch.optim.Optimizer, device: torch.device) -> Step:
    """``step`` adds up gradients and lets ``best`` take its step; on a GPU it is recorded as one
    CUDA graph, so it may not wait for the host."""

    def by_itself() -> None:
        best.zero_grad(set_to_none=True)
        step()

    if device.type != "cuda":
        return by_itself
    torch.backends.cudnn.benchmark = True
    aside = torch.cuda.Stream()
    aside.wait_stream(torch.cuda.current_stream())
    with torch.cuda.stream(aside):
        for _ in range(6):
            by_itself()
    torch.cuda.current_stream().wait_stream(aside)
    torch.cuda.synchronize()
    graph = torch.cuda.CUDAGraph()
    best.zero_grad(set_to_none=True)
    with torch.cuda.graph(graph):
        step()
    return graph.replay
