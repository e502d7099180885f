"""The edge networks before, of full convolutions: they taught the one of now.

`edges.onnx` as it was at commit 511d2b3 is one (width 16, eight blocks).
"""

from pathlib import Path

import onnx
import torch
from torch import nn
from torch.nn import functional as F

from tests.training.edge_network import RAY_STRIDE, SAMPLE_STRIDE, MeanRay

DILATIONS = ((2, 1), (2, 1), (4, 2), (8, 4), (2, 1), (2, 2), (4, 1), (1, 2))
#: two blocks more, of the one that taught
MORE = ((2, 1), (8, 2))
TOLD_AFTER = (1, 4, 5)


class FullBlock(nn.Module):
    def __init__(self, width: int, dilation: tuple[int, int]) -> None:
        super().__init__()
        self.mix = nn.Conv2d(width, width, 3, padding=dilation, dilation=dilation, bias=False)
        self.norm = nn.BatchNorm2d(width)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x + F.relu(self.norm(self.mix(x)))


class EdgeNetBefore(nn.Module):
    def __init__(
        self, width: int, dilations: tuple[tuple[int, int], ...] = DILATIONS
    ) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            nn.Conv2d(4, 16, (4, 6), stride=2, padding=(1, 2), bias=False),
            nn.BatchNorm2d(16),
            nn.ReLU(),
            nn.Conv2d(16, width, 4, stride=2, padding=1, bias=False),
            nn.BatchNorm2d(width),
            nn.ReLU(),
        )
        layers: list[nn.Module] = []
        for number, dilation in enumerate(dilations):
            layers.append(FullBlock(width, dilation))
            if number in TOLD_AFTER:
                layers.append(MeanRay(width))
        self.blocks = nn.Sequential(*layers)
        self.head = nn.Conv2d(width, 2 * RAY_STRIDE * SAMPLE_STRIDE, (1, 3), padding=(0, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.head(self.blocks(self.stem(x)))


class BeforeAsShipped(nn.Module):
    """The same network on squares of two rays and two samples, see `small_squares`."""

    def __init__(self, net: EdgeNetBefore) -> None:
        super().__init__()
        self.net = net
        first = net.stem[0]
        assert isinstance(first, nn.Conv2d)
        outputs, inputs, rays, samples = first.weight.shape
        parts = first.weight.detach().view(outputs, inputs, rays // 2, 2, samples // 2, 2)
        self.first = nn.Conv2d(4 * inputs, outputs, (2, 3), padding=(0, 1), bias=False)
        self.first.weight.data = parts.permute(0, 1, 3, 5, 2, 4).reshape(
            outputs, 4 * inputs, rays // 2, samples // 2
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        y = self.first(x)
        for layer in list(self.net.stem)[1:]:
            y = layer(y)
        return self.net.head(self.net.blocks(y))


class FromOnnx(nn.Module):
    """A network as it was written for OpenCV: its norms are part of its convolutions."""

    def __init__(self, file: Path, width: int) -> None:
        super().__init__()
        graph = onnx.load(file).graph
        arrays = {t.name: torch.tensor(onnx.numpy_helper.to_array(t)) for t in graph.initializer}
        folded = iter(
            [
                (arrays[node.input[1]], arrays[node.input[2]])
                for node in graph.node
                if node.op_type == "Conv"
            ]
        )

        def with_norm(plain: nn.Module) -> nn.Conv2d:
            assert isinstance(plain, nn.Conv2d)
            weight, bias = next(folded)
            assert plain.weight.shape == weight.shape, "the file is of another width or depth"
            conv = nn.Conv2d(
                plain.in_channels, plain.out_channels, plain.kernel_size, plain.stride,
                plain.padding, plain.dilation,
            )  # fmt: skip
            conv.weight.data, conv.bias.data = weight, bias
            return conv

        shipped = BeforeAsShipped(EdgeNetBefore(width))
        stem = shipped.net.stem
        shipped.first, stem[0], stem[1] = with_norm(shipped.first), nn.Identity(), nn.Identity()
        stem[3], stem[4] = with_norm(stem[3]), nn.Identity()
        for layer in shipped.net.blocks:
            if isinstance(layer, FullBlock):
                layer.mix, layer.norm = with_norm(layer.mix), nn.Identity()
            else:
                layer.a, layer.b = with_norm(layer.a), with_norm(layer.b)
        shipped.net.head = with_norm(shipped.net.head)
        self.shipped = shipped.requires_grad_(False)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.shipped(small_squares(x))


def small_squares(x: torch.Tensor) -> torch.Tensor:
    """Input (S, 4, RAYS + 2 PAD, SAMPLES) as `BeforeAsShipped` takes it, zeros at both ends."""
    x = F.pad(x, (0, 0, 1, 1))
    shells, channels, rays, samples = x.shape
    parts = x.view(shells, channels, rays // 2, 2, samples // 2, 2).permute(0, 1, 3, 5, 2, 4)
    return parts.reshape(shells, 4 * channels, rays // 2, samples // 2)
