"""Lines that tell how far the work is, where there is no terminal."""

import pytest

from brimcast.scripts import progress


@pytest.fixture
def clock(monkeypatch):
    """A clock that stands still, in seconds; it is set by its first element."""
    now = [100.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def lines(capsys):
    return capsys.readouterr().err.splitlines()


def test_time_left_is_told_where_it_is_known(clock, capsys):
    """A quarter took 20 s, so three more take 60 s; near the end there is none to tell."""
    with progress.Progress() as shown:
        clock[0] = 120.0
        shown(0.25, "light of key")
        clock[0] = 180.0
        shown(0.998, "drawing")
    assert lines(capsys) == [" 25%  light of key, at most 60 s left", "100%  drawing"]


def test_a_search_tells_no_time_left(clock, capsys):
    """It does not know how many sets it will compute; each one's share is told."""
    with progress.Progress(open_ended=True) as shown:
        clock[0] = 120.0
        shown(0.25, "question 1, light of key")
    assert lines(capsys) == [" 25%  question 1, light of key"]
