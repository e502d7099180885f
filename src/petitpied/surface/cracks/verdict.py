"""Is a dark line a crack? A layer of hidden units over its evidence and what its strip looks like.

Trained by the project on its own scenes only, together with the network that reads the strips
(`tests/training/crack_train.py`: recipe, seed, held-out score); the weights are plain numbers in
`cracks.weights`.
"""

import numpy as np
from numpy.typing import NDArray

from petitpied.surface.cracks import weights as learnt

Floats = NDArray[np.float64]

#: evidence farther from the scenes' mean than this many standard deviations says no more
FAR = 3.5


def standardised(evidence: Floats, mean: Floats, spread: Floats) -> Floats:
    """Evidence (L, K) in standard deviations of the training scenes, bounded by `FAR`."""
    return np.asarray(np.clip((evidence - mean) / spread, -FAR, FAR), float)


def network(values: Floats, hidden: Floats, hidden_bias: Floats, out: Floats) -> Floats:
    """Scores (L,) between 0 and 1: tanh units (K, H), then the logistic of their sum; the last of
    ``out`` (H + 1,) is the bias."""
    sums = np.tanh(values @ hidden + hidden_bias) @ out[:-1] + out[-1]
    return np.asarray(1 / (1 + np.exp(-np.clip(sums, -40, 40))), float)


def verdicts(evidence: Floats, features: Floats) -> Floats:
    """Scores (L,) of lines from their evidence (L, K), in `profile.EVIDENCE`'s order, and
    the features (L, F) of their strips."""
    values = standardised(evidence, np.array(learnt.MEAN), np.array(learnt.SPREAD))
    return network(
        np.concatenate([features, values], axis=1),
        np.array(learnt.HIDDEN),
        np.array(learnt.HIDDEN_BIAS),
        np.array(learnt.OUT),
    )
