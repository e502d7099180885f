"""Medians of many rows against numpy's, the general reference."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from petitpied.numerics.medians import medians


@given(
    st.sampled_from([np.float32, np.float64]).flatmap(
        lambda kind: arrays(
            kind,
            array_shapes(min_dims=1, max_dims=3, min_side=1, max_side=9),
            elements=st.floats(-1e6, 1e6, width=32),
        )
    )
)
def test_medians_are_those_of_numpy(values):
    assert np.array_equal(medians(values), np.median(values, axis=-1).astype(float))
