"""Set-ups on a machine that has no train, for the tests of what is cut and measured."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from on_the_machine import OnTheMachine, set_up


@pytest.fixture(scope="session")
def setting() -> Callable[..., OnTheMachine]:
    """Makes set-ups; see `set_up`."""
    return set_up
