"""Studies of small sets, computed once a session."""

import pytest

from brimcast.renders.answers.study import Study
from brimcast.renders.frames import FrameStore


@pytest.fixture(scope="session")
def study_of(tmp_path_factory):
    """Return a function that makes a study of a set's text, with a frame store for the session."""
    store = FrameStore(tmp_path_factory.mktemp("frames"), None)

    def make(text, changes=None, quality="draft"):
        return Study(text, "set.yaml", changes, quality, "cpu", store)

    return make
