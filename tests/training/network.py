"""The finder's network: a small U-shaped convolutional net, three tasks, output at half size.

Ronneberger et al., "U-Net", MICCAI 2015, with residual blocks (He et al., CVPR 2016). Input
(N, 3, H, W), BGR scaled to 0..1, H and W multiples of 64. Output (N, 4, H / 2, W / 2): logit of
"shell", logit of "cap", and the vector from the pixel to its shell's middle in units of
`OFFSET_UNIT_PX` input pixels. Pixels vote for middles, as in Neven et al., CVPR 2019.
"""

import torch
from torch import nn

OFFSET_UNIT_PX = 64.0
WIDTHS = (8, 24, 32, 48, 64, 64)  # channels at strides 2, 4, 8, 16, 32, 64
TEACHER_WIDTHS = (16, 32, 48, 72, 80, 80)  # of the network before, which taught this one


def _conv(inputs: int, outputs: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class _Residual(nn.Module):
    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = _conv(channels, channels)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, 1, 1, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.relu(x + self.second(self.first(x)))


class FinderNet(nn.Module):
    """See the module's docstring."""

    def __init__(self, widths: tuple[int, ...] = WIDTHS) -> None:
        super().__init__()
        w = widths
        self.stem = _conv(3, w[0], 2)
        self.down = nn.ModuleList(
            [
                nn.Sequential(_conv(w[0], w[1], 2), _conv(w[1], w[1])),
                nn.Sequential(_conv(w[1], w[2], 2), _Residual(w[2])),
                nn.Sequential(_conv(w[2], w[3], 2), _Residual(w[3])),
                nn.Sequential(_conv(w[3], w[4], 2), _conv(w[4], w[4])),
                nn.Sequential(_conv(w[4], w[5], 2), _conv(w[5], w[5])),
            ]
        )
        down = zip(w[:0:-1], w[-2::-1], strict=True)
        self.lateral = nn.ModuleList([nn.Conv2d(a, b, 1) for a, b in down])
        self.fuse = nn.ModuleList([_conv(c, c) for c in w[-2::-1]])
        self.head = nn.Conv2d(w[0], 4, 1)
        self.up = nn.Upsample(scale_factor=2, mode="nearest")

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        levels = [self.stem(x)]
        for stage in self.down:
            levels.append(stage(levels[-1]))
        y = levels[-1]
        for lateral, fuse, skip in zip(self.lateral, self.fuse, levels[-2::-1], strict=True):
            y = fuse(self.up(lateral(y)) + skip)
        return self.head(y)
