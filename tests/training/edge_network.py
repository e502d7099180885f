"""The edge network: from a shell's strip of the photo to where its edges may lie on each ray.

Input (S, 4, RAYS + 2 PAD, SAMPLES): log colours relative to the liner's brightness and the place
along the ray; rays wrapped round by PAD at both ends. Output (S, 32, (RAYS + 2 PAD) / 4,
SAMPLES / 4): for the outer edge and the cap's edge, four rays and four samples each, a score.
Residual convolutions of growing dilation (Yu & Koltun, ICLR 2016); between them each shell is told
what its mean ray looks like, so that a foot seen clearly on one side helps on the other.
"""

from pathlib import Path

import onnx
import torch
from torch import nn
from torch.nn import functional as F

PAD = 16
WIDTH = 16
RAY_STRIDE, SAMPLE_STRIDE = 4, 4
#: dilation of each block along rays and along samples: OpenCV takes longer for none
DILATIONS = ((2, 1), (2, 1), (4, 2), (8, 4), (2, 1), (2, 2), (4, 1), (1, 2))
#: those of the first, wider networks, which taught the one that taught this one
TEACHER_DILATIONS = ((1, 1), (2, 1), (4, 2), (8, 4), (1, 1), (2, 2), (4, 1), (1, 1))
#: after these blocks the mean ray is told
TOLD_AFTER = (1, 4, 5)


class Block(nn.Module):
    def __init__(self, width: int, dilation: tuple[int, int]) -> None:
        super().__init__()
        self.mix = nn.Conv2d(width, width, 3, padding=dilation, dilation=dilation, bias=False)
        self.norm = nn.BatchNorm2d(width)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x + F.relu(self.norm(self.mix(x)))


class MeanRay(nn.Module):
    """Adds to every ray what the mean over all rays says."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.a = nn.Conv2d(width, width, (1, 3), padding=(0, 1))
        self.b = nn.Conv2d(width, width, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        rays = x.shape[2]
        told = self.b(F.relu(self.a(F.avg_pool2d(x, (rays, 1)))))
        # as a mean and an expansion OpenCV would put the numbers into another order and back, which
        # takes a tenth of the network's time; its fused addition does not broadcast
        return x + F.interpolate(told, scale_factor=(float(rays), 1.0), mode="nearest")


class EdgeNet(nn.Module):
    def __init__(
        self, width: int = WIDTH, dilations: tuple[tuple[int, int], ...] = DILATIONS
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
            layers.append(Block(width, dilation))
            if number in TOLD_AFTER:
                layers.append(MeanRay(width))
        self.blocks = nn.Sequential(*layers)
        self.head = nn.Conv2d(width, 2 * RAY_STRIDE * SAMPLE_STRIDE, (1, 3), padding=(0, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.head(self.blocks(self.stem(x)))


class AsShipped(nn.Module):
    """The same network on squares of two rays and two samples, see `squares`."""

    def __init__(self, net: EdgeNet) -> None:
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

        shipped = AsShipped(EdgeNet(width))
        stem = shipped.net.stem
        shipped.first, stem[0], stem[1] = with_norm(shipped.first), nn.Identity(), nn.Identity()
        stem[3], stem[4] = with_norm(stem[3]), nn.Identity()
        for layer in shipped.net.blocks:
            if isinstance(layer, Block):
                layer.mix, layer.norm = with_norm(layer.mix), nn.Identity()
            else:
                layer.a, layer.b = with_norm(layer.a), with_norm(layer.b)
        shipped.net.head = with_norm(shipped.net.head)
        self.shipped = shipped.requires_grad_(False)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.shipped(squares(x))


def squares(x: torch.Tensor) -> torch.Tensor:
    """Input (S, 4, RAYS + 2 PAD, SAMPLES) as `AsShipped` takes it, a row of zeros at both ends."""
    x = F.pad(x, (0, 0, 1, 1))
    shells, channels, rays, samples = x.shape
    parts = x.view(shells, channels, rays // 2, 2, samples // 2, 2).permute(0, 1, 3, 5, 2, 4)
    return parts.reshape(shells, 4 * channels, rays // 2, samples // 2)


def scores(out: torch.Tensor) -> torch.Tensor:
    """Log probabilities (S, 2, RAYS, SAMPLES) of the network's output."""
    out = out[:, :, PAD // RAY_STRIDE : -PAD // RAY_STRIDE].float()
    n, _, rays, quarter = out.shape
    both = out.view(n, 2, RAY_STRIDE, SAMPLE_STRIDE, rays, quarter).permute(0, 1, 4, 2, 5, 3)
    return torch.log_softmax(
        both.reshape(n, 2, RAY_STRIDE * rays, SAMPLE_STRIDE * quarter), dim=3
    )
