"""What tests of several rooms share."""

from __future__ import annotations

import functools
import sys

import pytest

from necrostats.measures import indicators


@pytest.fixture(scope="module")
def counted_once():
    """Count each indicator once for each registry: a review judges the same counts again for every quarter."""
    counted = indicators.counted
    loaded = [module for name, module in sys.modules.items() if name.startswith("necrostats.")]
    users = [module for module in loaded if vars(module).get("counted") is counted]
    once = functools.cache(counted)
    with pytest.MonkeyPatch.context() as patch:
        for module in users:
            patch.setattr(module, "counted", once)
        yield
