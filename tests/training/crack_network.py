"""The judge of cracks: a dark line's strip and its evidence to a score.

Input of the convolutions (L, 3, ALONG, ACROSS): logarithms of the profiles across a line, laid side
by side, relative to the cap beside it, see `petitpied.surface.cracks.strips`; their output (L,
width, ALONG, 1): features of each place along the line. Their mean and maximum along it, and the
evidence in standard deviations of the training lines, go to one hidden layer of tanh units and from
there to the score (logarithm of odds).
"""

import torch
from torch import nn
from torch.nn import functional as F

#: as petitpied.surface.cracks.strips
ALONG, ACROSS = 56, 48
#: as petitpied.surface.cracks.verdict: evidence farther than this from the mean says no more
FAR = 3.5
WIDTH, HIDDEN, FIRST_WIDTH = 16, 32, 12


class Layer(nn.Sequential):
    """A convolution, normalised (folded into its weights at export), rectified; strided across
    the line only, dilated along it only."""

    def __init__(
        self, channels: tuple[int, int], kernel: tuple[int, int], stride: int, dilation: int = 1
    ) -> None:
        super().__init__(
            nn.Conv2d(
                *channels,
                kernel,
                stride=(1, stride),
                padding=(dilation * (kernel[0] // 2), kernel[1] // 2),
                dilation=(dilation, 1),
                bias=False,
            ),
            nn.BatchNorm2d(channels[1]),
            nn.ReLU(),
        )


class StripNet(nn.Module):
    """Features (L, width, ALONG, 1) of strips (L, 3, ALONG, ACROSS): what goes into
    ``cracks.onnx``."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.layers = nn.Sequential(
            Layer((3, FIRST_WIDTH), (3, 5), 2),
            Layer((FIRST_WIDTH, width), (3, 3), 2),
            Layer((width, width), (3, 3), 1, dilation=2),
            Layer((width, width), (3, 3), 2, dilation=4),
            nn.Conv2d(width, width, (3, ACROSS // 8), padding=(1, 0)),
        )

    def forward(self, strips: torch.Tensor) -> torch.Tensor:
        return F.relu(self.layers(strips))


class CrackNet(nn.Module):
    """``mean``, ``spread`` (K,) are the training lines': they go with the weights."""

    def __init__(self, evidence: torch.Tensor, width: int = WIDTH, hidden: int = HIDDEN) -> None:
        super().__init__()
        self.strip = StripNet(width)
        self.hidden = nn.Linear(2 * width + evidence.shape[1], hidden)
        self.out = nn.Linear(hidden, 1)
        self.register_buffer("mean", evidence.mean(0))
        self.register_buffer("spread", evidence.std(0) + 1e-6)

    def standardised(self, evidence: torch.Tensor) -> torch.Tensor:
        return ((evidence - self.mean) / self.spread).clamp(-FAR, FAR)

    def forward(
        self, strips: torch.Tensor, on: torch.Tensor, standardised: torch.Tensor
    ) -> torch.Tensor:
        """Scores (L,) of lines; ``on`` (L, ALONG) is 1 on the line, 0 beyond its end."""
        told = self.strip(strips)[..., 0] * on[:, None]
        mean = told.sum(2) / on.sum(1).clamp(min=1)[:, None]
        every = torch.cat([mean, told.amax(2), standardised], 1)
        return self.out(torch.tanh(self.hidden(every)))[:, 0]
