"""Computed sets kept by what they say, so that none is computed twice."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from brimcast.shared.errors import PersonError

from .caches import cache_root, edition
from .stored import Stored, read_stored

CAP_BYTES = 2_000_000_000


def name_frames(digest: str, seed: int, quality: str, variant: str, picture: bool) -> list[str]:
    """Return the names of the computed sets that will do, that of the one to compute first.

    A name is a hash of all that the numbers depend on.

    Parameters
    ----------
    digest : str
        Of the set, see `setfile.digest`.
    seed : int
    quality : {'draft', 'proof', 'final'}
    variant : str
        Of the engine; devices differ in the last digits.
    picture : bool
        Whether a picture is wanted; the run of one has the table's light too.
    """
    taken = (True,) if picture else (False, True)
    told = [[digest, quality, seed, variant, each, edition()] for each in taken]
    return [hashlib.sha256(json.dumps(each).encode()).hexdigest()[:32] for each in told]


class FrameStore:
    """A folder of computed sets, each in a folder of its own as report.md says.

    Parameters
    ----------
    folder : Path, optional
        Left out, in the user's cache.
    cap_bytes : int or None
        What all of them together may take, the oldest go first; None keeps all.
    """

    def __init__(self, folder: Path | None = None, cap_bytes: int | None = CAP_BYTES):
        self.folder = folder or cache_root() / "frames"
        self.cap_bytes = cap_bytes

    def find(self, name: str, table: bool = True) -> Stored | None:
        """Return a frame; None where it is not kept, or is damaged."""
        folder = self.folder / name
        if not (folder / "report.json").is_file():
            return None
        try:
            found = read_stored(folder, table=table)
        except PersonError:
            shutil.rmtree(folder, ignore_errors=True)
            return None
        os.utime(folder)
        return found

    def keep(self, name: str, write: Callable[[Path], object]) -> Path:
        """Return the folder of a frame after `write` has filled it, see `output.write_output`."""
        folder = self.folder / name
        write(folder)
        os.utime(folder)
        if self.cap_bytes is not None:
            self._make_room(folder)
        return folder

    def _make_room(self, newest: Path) -> None:
        """Remove the frames that were not used for longest."""
        kept = [path for path in self.folder.iterdir() if path.is_dir() and len(path.name) == 32]
        sizes = {path: sum(file.stat().st_size for file in path.iterdir()) for path in kept}
        over = sum(sizes.values()) - self.cap_bytes
        for path in sorted(kept, key=lambda path: path.stat().st_mtime):
            if over <= 0:
                return
            if path != newest:
                shutil.rmtree(path, ignore_errors=True)
                over -= sizes[path]
