"""What can go wrong, by whose hand: the person's mistakes and the engine's refusals."""

from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One mistake in what a person wrote, with the place where it stands.

    Parameters
    ----------
    file : str or None
        Name of the file, as the person gave it.
    line, column : int or None
        Place in the file, counted from 1.
    key : str or None
        Path of the setting, such as ``lamps.key.throw``.
    text : str
        What is wrong, the value, and what is allowed.
    """

    file: str | None = None
    line: int | None = None
    column: int | None = None
    key: str | None = None
    text: str = ""

    def __str__(self):
        place = ":".join(str(part) for part in (self.file, self.line, self.column) if part is not None)
        return ": ".join(part for part in (place, self.key, self.text) if part)


class PersonError(Exception):
    """Mistakes that the person can mend (exit status 2).

    Parameters
    ----------
    *faults : Fault or str
        One or more; a plain string becomes a fault without a place.
        One list or tuple of them is taken as well.
    """

    def __init__(self, *faults):
        if len(faults) == 1 and isinstance(faults[0], list | tuple):
            faults = tuple(faults[0])
        if not faults:
            raise ValueError("a PersonError needs at least one fault")
        self.faults = tuple(fault if isinstance(fault, Fault) else Fault(text=str(fault)) for fault in faults)
        super().__init__(*self.faults)

    def __str__(self):
        return "\n".join(str(fault) for fault in self.faults)


class EngineError(Exception):
    """The engine cannot run; the message ends with the cure (exit status 1)."""


@contextmanager
def telling_unwritable(path):
    """Turn the disk's refusal to write into a person's mistake.

    Parameters
    ----------
    path : path
        What is written in the block.

    Raises
    ------
    PersonError
        The block raised an OSError.
    """
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise PersonError(Fault(str(path), None, None, None, f"cannot be written: {reason}")) from None
