"""Pictures for the trainings of the finder, each seen anew. Nothing waits for the host."""

import torch
from torch.nn import functional as F


def _uniform(like: torch.Tensor, low: float, high: float, *shape: int) -> torch.Tensor:
    return low + (high - low) * torch.rand(len(like), *shape, device=like.device)


def warp(
    picture: torch.Tensor, labels: torch.Tensor | None, size_px: tuple[int, int]
) -> tuple[torch.Tensor, torch.Tensor | None]:
    """Turn, flip, stretch and zoom each picture of the batch at random, and its ``labels`` (N, K,
    H, W), to ``size_px`` (width, height)."""

    def uniform(low: float, high: float) -> torch.Tensor:
        return _uniform(picture, low, high)

    angle = torch.where(uniform(0, 1) < 0.3, uniform(-3.14, 3.14), uniform(-0.15, 0.15))
    zoom, stretch = torch.exp(uniform(-0.5, 0.45)), torch.exp(uniform(-0.12, 0.12))
    flip = torch.where(uniform(0, 1) < 0.5, -1.0, 1.0)
    width, height = size_px
    aspect, c, s = width / height, torch.cos(angle), torch.sin(angle)
    across = [zoom * c * flip * stretch, -zoom * s / aspect, uniform(-0.3, 0.3)]
    down = [zoom * s * aspect * flip * stretch, zoom * c, uniform(-0.3, 0.3)]
    matrix = torch.stack([torch.stack(across, 1), torch.stack(down, 1)], 1)
    grid = F.affine_grid(matrix, [len(picture), 1, height, width], align_corners=False)
    outside = (grid.abs() > 1).any(dim=-1)[:, None]
    # reflection would show shells twice with one number: outside is empty for both
    smooth = F.grid_sample(picture, grid, "bilinear", "reflection", align_corners=False)
    smooth = torch.where(outside, _uniform(picture, 0, 1, 3, 1, 1), smooth)
    if labels is None:
        return smooth, None
    return smooth, F.grid_sample(labels, grid, "nearest", "zeros", align_corners=False)


def colour(picture: torch.Tensor, orders: torch.Tensor) -> torch.Tensor:
    """Change brightness, contrast, white balance, hue, sharpness and noise at random; ``orders``:
    `tests.training.edge_batches.ORDERS` on the device."""

    def uniform(low: float, high: float, *shape: int) -> torch.Tensor:
        return _uniform(picture, low, high, *shape)

    x = picture.clamp(0, 1) ** torch.exp(uniform(-0.45, 0.45, 1, 1, 1))
    x = x * torch.exp(uniform(-0.25, 0.25, 3, 1, 1)) * torch.exp(uniform(-0.3, 0.15, 1, 1, 1))
    mean = x.mean(dim=(2, 3), keepdim=True)
    x = mean + (x - mean) * torch.exp(uniform(-0.4, 0.3, 1, 1, 1))
    grey, pale = x.mean(dim=1, keepdim=True), uniform(0, 1, 1, 1, 1) < 0.08
    x = grey + (x - grey) * torch.where(pale, 0.0, torch.exp(uniform(-0.5, 0.4, 1, 1, 1)))
    order = orders[torch.randint(len(orders), (len(x),), device=x.device)]
    swapped = torch.gather(x, 1, order[:, :, None, None].expand(-1, -1, *x.shape[2:]))
    x = torch.where(uniform(0, 1, 1, 1, 1) < 0.15, swapped, x)
    x = x + (x - F.avg_pool2d(x, 3, 1, 1)) * uniform(-0.9, 0.8, 1, 1, 1)
    x = x + torch.randn(x.shape, device=x.device) * uniform(0, 0.03, 1, 1, 1)
    return x.clamp(0, 1)
