"""The edge network: from a shell's strip of the photo to where its edges may lie on each ray.

Input (S, 4, RAYS / 2 + 2 PAD, SAMPLES): log colours relative to the liner's brightness and the
place along the ray; every second ray, wrapped round by PAD at both ends. Output (S, 16,
(RAYS / 2 + 2 PAD) / 2, SAMPLES / 4): for the outer edge and the cap's edge, two rays and four
samples each, a score. Residual convolutions of growing dilation (Yu & Koltun, ICLR 2016).
"""

import torch
from torch import nn

PAD = 8
WIDTH = 24
#: dilation of each block along rays and along samples
DILATIONS = ((1, 1), (2, 1), (4, 2), (8, 1), (1, 1))


class Block(nn.Module):
    def __init__(self, width: int, dilation: tuple[int, int]) -> None:
        super().__init__()
        self.mix = nn.Conv2d(width, width, 3, padding=dilation, dilation=dilation, bias=False)
        self.norm = nn.BatchNorm2d(width)
        self.act = nn.ReLU()

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x + self.act(self.norm(self.mix(x)))


class EdgeNet(nn.Module):
    def __init__(self, width: int = WIDTH) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            nn.Conv2d(4, 16, (4, 6), stride=2, padding=(1, 2), bias=False),
            nn.BatchNorm2d(16),
            nn.ReLU(),
            nn.Conv2d(16, width, (3, 4), stride=(1, 2), padding=(1, 1), bias=False),
            nn.BatchNorm2d(width),
            nn.ReLU(),
        )
        self.blocks = nn.Sequential(*(Block(width, d) for d in DILATIONS))
        self.head = nn.Conv2d(width, 16, (1, 3), padding=(0, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.head(self.blocks(self.stem(x)))


def scores(out: torch.Tensor) -> torch.Tensor:
    """Log probabilities (S, 2, RAYS / 2, SAMPLES) of the network's output."""
    out = out[:, :, PAD // 2 : -PAD // 2].float()
    n, _, rays, quarter = out.shape
    both = out.view(n, 2, 2, 4, rays, quarter).permute(0, 1, 4, 2, 5, 3)
    return torch.log_softmax(both.reshape(n, 2, 2 * rays, 4 * quarter), dim=3)
