"""The edge network: from a shell's strip of the photo to where its edges may lie on each ray.

Input (S, 4, RAYS + 2 PAD, SAMPLES): log colours relative to the liner's brightness and the place
along the ray; rays wrapped round by PAD at both ends. Output (S, 32, (RAYS + 2 PAD) / 4,
SAMPLES / 4): for the outer edge and the cap's edge, four rays and four samples each, a score.
Squares of four rays and four samples are told as they are to residual blocks of separable
convolutions (Chollet, CVPR 2017) of growing dilation (Yu & Koltun, ICLR 2016); between them each
shell is told what its mean ray looks like, so that a foot seen clearly on one side helps on the
other.
"""

import torch
from torch import nn
from torch.nn import functional as F

PAD = 16
WIDTH = 32
RAY_STRIDE, SAMPLE_STRIDE = 4, 4
#: dilation of each block along rays and along samples
DILATIONS = ((2, 1), (2, 1), (4, 2), (8, 4), (2, 1), (2, 2), (4, 1), (1, 2))
#: after these blocks the mean ray is told
TOLD_AFTER = (1, 5)


class Block(nn.Module):
    """A convolution of each channel, then one across channels; the sum is cut at zero, which
    OpenCV does in one go."""

    def __init__(self, width: int, dilation: tuple[int, int]) -> None:
        super().__init__()
        self.dw = nn.Conv2d(
            width, width, 3, padding=dilation, dilation=dilation, groups=width, bias=False
        )
        self.between = nn.BatchNorm2d(width)
        self.mix = nn.Conv2d(width, width, 1, bias=False)
        self.norm = nn.BatchNorm2d(width)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return F.relu(x + self.norm(self.mix(self.between(self.dw(x)))))


class MeanRay(nn.Module):
    """Adds to every ray what the mean over all rays says."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.a = nn.Conv2d(width, width, (1, 3), padding=(0, 1))
        self.b = nn.Conv2d(width, width, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        rays = x.shape[2]
        told = self.b(F.relu(self.a(F.avg_pool2d(x, (rays, 1)))))
        # in these words OpenCV keeps its own order of the numbers; its addition does not broadcast
        return x + F.interpolate(told, scale_factor=(float(rays), 1.0), mode="nearest")


class EdgeNet(nn.Module):
    def __init__(
        self, width: int = WIDTH, dilations: tuple[tuple[int, int], ...] = DILATIONS
    ) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            nn.Conv2d(52, width, (1, 3), padding=(0, 1), bias=False),
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

    def of_squares(self, x: torch.Tensor) -> torch.Tensor:
        """Of what `squares` makes, as the shipped network takes it."""
        return self.head(self.blocks(self.stem(x)))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.of_squares(squares(x))


class AsShipped(nn.Module):
    """The same network on `squares`."""

    def __init__(self, net: EdgeNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.net.of_squares(x)


def squares(x: torch.Tensor) -> torch.Tensor:
    """Input (S, 4, RAYS + 2 PAD, SAMPLES) as (S, 52, (RAYS + 2 PAD) / 4, SAMPLES / 4): the three
    colours of four rays and four samples, and the places of the four samples."""
    shells, channels, rays, samples = x.shape
    parts = x.reshape(
        shells, channels, rays // RAY_STRIDE, RAY_STRIDE, samples // SAMPLE_STRIDE, SAMPLE_STRIDE
    )
    colours = parts[:, :3].permute(0, 1, 3, 5, 2, 4).flatten(1, 3)
    return torch.cat([colours, parts[:, 3, :, 0].permute(0, 3, 1, 2)], 1)


def scores(out: torch.Tensor) -> torch.Tensor:
    """Log probabilities (S, 2, RAYS, SAMPLES) of the network's output."""
    out = out[:, :, PAD // RAY_STRIDE : -PAD // RAY_STRIDE].float()
    n, _, rays, quarter = out.shape
    both = out.view(n, 2, RAY_STRIDE, SAMPLE_STRIDE, rays, quarter).permute(0, 1, 4, 2, 5, 3)
    return torch.log_softmax(
        both.reshape(n, 2, RAY_STRIDE * rays, SAMPLE_STRIDE * quarter), dim=3
    )
