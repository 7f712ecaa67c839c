"""Fixtures that all tests share."""

from pathlib import Path

import pytest
import yaml


@pytest.fixture(scope="session")
def published():
    """Outside values that the tests are held to, as ``published[topic][entry]``."""
    path = Path(__file__).parent / "reference" / "published_values.yaml"
    return yaml.safe_load(path.read_text(encoding="utf-8"))
