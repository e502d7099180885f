"""A training step taken by itself, or on a GPU recorded once and replayed."""

from collections.abc import Callable

import torch

Step = Callable[[], None]


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
