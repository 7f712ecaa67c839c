"""Faults name their place; errors carry all of them."""

import pickle

import pytest

from brimcast.shared.errors import Fault, PersonError


@pytest.mark.parametrize(
    ("fault", "shown"),
    [
        (Fault("set.yaml", 12, 5, "lamps.key.throw", "no unit"), "set.yaml:12:5: lamps.key.throw: no unit"),
        (Fault("set.yaml", 12, None, "lamps", "no unit"), "set.yaml:12: lamps: no unit"),
        (Fault("set.yaml", None, None, None, "cannot be read"), "set.yaml: cannot be read"),
        (Fault(None, None, None, "lamps.key", "no unit"), "lamps.key: no unit"),
        (Fault(text="no unit"), "no unit"),
    ],
)
def test_fault_leaves_out_the_parts_it_lacks(fault, shown):
    assert str(fault) == shown


def test_person_error_holds_every_fault_and_shows_each_on_a_line():
    faults = [Fault("a.yaml", 1, 1, "x", "one"), Fault("a.yaml", 2, 1, "y", "two")]
    error = PersonError(faults)
    assert error.faults == tuple(faults)
    assert str(error).splitlines() == [str(fault) for fault in faults]
    assert PersonError(*faults).faults == error.faults


def test_person_error_takes_plain_text_and_survives_pickling():
    error = pickle.loads(pickle.dumps(PersonError("no such file")))
    assert error.faults == (Fault(text="no such file"),)


def test_person_error_without_a_fault_is_refused():
    with pytest.raises(ValueError):
        PersonError()
