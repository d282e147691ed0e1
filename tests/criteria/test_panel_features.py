"""The panel's quantile is NumPy's (reference library)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ebbline.criteria.panel_features import _quantile


@given(values=st.lists(st.floats(-300, 300), min_size=1, max_size=60), share=st.floats(0, 1))
def test_quantile_is_the_one_of_numpy(values: list[float], share: float) -> None:
    assert _quantile(np.array(values), share) == pytest.approx(
        float(np.quantile(values, share)), abs=1e-9
    )
