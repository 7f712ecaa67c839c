"""Fixtures that all tests share."""

from pathlib import Path

import pytest
import yaml

from brimcast.shared.errors import PersonError


@pytest.fixture(scope="session")
def published():
    """Outside values that the tests are held to, as ``published[topic][entry]``."""
    path = Path(__file__).parent / "reference" / "published_values.yaml"
    return yaml.safe_load(path.read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def only_fault():
    """Return a function that makes a call which is to be refused, and returns its one fault."""

    def find(call):
        with pytest.raises(PersonError) as caught:
            call()
        (fault,) = caught.value.faults
        return fault

    return find
