"""Files kept whole: output that replaces earlier output at once, and unfinished work for later."""

import contextlib
import hashlib
import io
import json
import os
import secrets
import shutil
import signal
import threading
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import numpy as np

from .caches import cache_root

UNFINISHED_CAP_BYTES = 2_000_000_000

# The member of each kept file that says whose it is; it also tells older forms of the file apart.
STAMP = "_brimcast_unfinished_1"

# What numpy and zipfile raise on files that are cut short, altered or of another kind.
DAMAGE = (
    OSError,
    ValueError,
    EOFError,
    KeyError,
    TypeError,
    RuntimeError,
    MemoryError,
    zipfile.BadZipFile,
    zlib.error,
)


@contextlib.contextmanager
def replacing(folder):
    """Yield a new, empty folder whose files replace those in `folder` when the block ends well.

    The new folder stands beside the old one, so that moving is renaming. Files
    of `folder` that the block did not write anew stay. If the block fails or is
    interrupted, or a file cannot be moved, `folder` is left as it was. Ctrl-C
    waits while files are moved.

    Parameters
    ----------
    folder : path
        Made, with its parents, if it is not there.

    Yields
    ------
    pathlib.Path

    Raises
    ------
    OSError
        A folder or file cannot be made or moved.
    """
    folder = Path(folder).resolve()
    folder.parent.mkdir(parents=True, exist_ok=True)
    fresh = _beside(folder, ".new")
    fresh.mkdir()
    try:
        yield fresh
        with _interrupts_held():
            if folder.exists():
                _move_over(fresh, folder)
            else:
                fresh.rename(folder)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


@contextlib.contextmanager
def replacing_file(path):
    """Yield a path beside `path`; the file written there replaces `path` when the block ends well.

    Parameters
    ----------
    path : path
        Its folder is made if it is not there. The yielded path ends alike.

    Yields
    ------
    pathlib.Path

    Raises
    ------
    OSError
        Nothing was written, or the file cannot be moved; `path` is left as it was.
    """
    path = Path(path).resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = _beside(path, path.suffix)
    try:
        yield fresh
        with _interrupts_held():
            os.replace(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)


@contextlib.contextmanager
def replacing_files(paths):
    """Yield a path beside each of `paths`; what is written there replaces them when the block ends well.

    All or none, short of a disk that takes a file and refuses to move it; see `replacing_file`.
    """
    with contextlib.ExitStack() as files:
        yield [files.enter_context(replacing_file(path)) for path in paths]


def pack(arrays, path, compressed=False):
    """Write arrays as an npz file, the same bytes for the same arrays.

    Unlike `numpy.savez` it takes every name, "file" too, and refuses objects.

    Parameters
    ----------
    arrays : dict of str to array
    path : path
    compressed : bool

    Raises
    ------
    ValueError
        An array holds objects.
    """
    with zipfile.ZipFile(path, "w") as archive:
        for name, array in arrays.items():
            member, array = zipfile.ZipInfo(f"{name}.npy"), np.asarray(array)
            if compressed:
                stream = io.BytesIO()
                np.lib.format.write_array(stream, array, allow_pickle=False)
                # Light hardly gets smaller by more effort.
                archive.writestr(member, stream.getbuffer(), zipfile.ZIP_DEFLATED, compresslevel=1)
                continue
            with archive.open(member, "w", force_zip64=True) as stream:
                np.lib.format.write_array(stream, array, allow_pickle=False)


def _beside(path, ending):
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}{ending}")


def _move_over(fresh, folder):
    """Move every file of `fresh` to its place in `folder`; undo all of it if one cannot be moved."""
    spare = _beside(folder, ".old")
    spare.mkdir()
    undo = contextlib.ExitStack()
    try:
        for source in sorted(path for path in fresh.rglob("*") if not path.is_dir()):
            target = folder / source.relative_to(fresh)
            _make_folders(target.parent, undo)
            if target.is_dir():
                raise IsADirectoryError(f"{target} is a folder; a file is to take its place")
            if os.path.lexists(target):
                aside = spare / secrets.token_hex(8)
                _set_aside(target, aside)
                undo.callback(os.replace, aside, target)
            else:
                undo.callback(target.unlink, missing_ok=True)
            os.replace(source, target)
        undo.pop_all()
    finally:
        undo.close()
        shutil.rmtree(spare, ignore_errors=True)


def _make_folders(folder, undo):
    if not folder.exists():
        _make_folders(folder.parent, undo)
        folder.mkdir()
        undo.callback(folder.rmdir)


def _set_aside(target, aside):
    # A second name keeps the first in place until the new file takes it; not every disk has them.
    try:
        os.link(target, aside, follow_symlinks=False)
    except (OSError, NotImplementedError):
        os.replace(target, aside)


@contextlib.contextmanager
def _interrupts_held():
    """Hold Ctrl-C back until the block has ended."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held = []
    before = signal.signal(signal.SIGINT, lambda *event: held.append(event))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.SIG_DFL)
        if held:
            signal.raise_signal(signal.SIGINT)


@dataclass(frozen=True)
class Unfinished:
    """Arrays of one piece of unfinished work, kept in the user's cache folder.

    Parameters
    ----------
    folder : pathlib.Path
        Named by a digest of what the work is about.
    cap_bytes : int
        Size that all unfinished work together may have.
    """

    folder: Path
    cap_bytes: int

    def save(self, name, arrays):
        """Keep arrays under a name and return whether they were kept.

        They are not when they alone exceed the cap or the disk refuses: work
        goes on without them. Kept files of any work, oldest first, make room.

        Parameters
        ----------
        name : str
        arrays : dict of str to array
            Plain numbers or text, no objects.

        Raises
        ------
        ValueError
            An array holds objects.
        """
        stamp = np.array(self.folder.name)
        try:
            with replacing_file(self._file(name)) as fresh:
                pack({**arrays, STAMP: stamp}, fresh)
                if fresh.stat().st_size > self.cap_bytes:
                    raise OSError("larger than all that may be kept")
            self._make_room(self._file(name))
        except OSError:
            return False
        return True

    def load(self, name):
        """Return the arrays kept under a name, or None.

        Absent, damaged and foreign files all give None.

        Returns
        -------
        dict of str to array, or None
        """
        try:
            with np.load(self._file(name), allow_pickle=False) as kept:
                if STAMP not in kept.files or str(kept[STAMP]) != self.folder.name:
                    return None
                return {key: kept[key] for key in kept.files if key != STAMP}
        except DAMAGE:
            return None

    def forget(self):
        """Remove what is kept of this work; what is not ours stays."""
        _remove(path for path, _, _ in _kept_files(self.folder.parent) if path.parent == self.folder)

    def _file(self, name):
        return self.folder / f"{quote(name, safe='')}.npz"

    def _make_room(self, newest):
        kept = sorted(_kept_files(self.folder.parent), key=lambda entry: (entry[0] == newest, entry[2]))
        over = sum(size for _, size, _ in kept) - self.cap_bytes
        for path, size, _ in kept:
            if over <= 0:
                return
            _remove([path])
            over -= size


def unfinished(key, cap_bytes=UNFINISHED_CAP_BYTES):
    """Return the place where unfinished work on something is kept.

    Parameters
    ----------
    key : str or what JSON can hold
        All that the work depends on: set, seed, quality, version.
    cap_bytes : int
        Size that all unfinished work together may have.

    Returns
    -------
    Unfinished
        Its folder is made at the first `save`.
    """
    text = key if isinstance(key, str) else json.dumps(key, sort_keys=True)
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Unfinished(cache_root() / "unfinished" / digest, int(cap_bytes))


def _kept_files(root):
    """Return (path, bytes, time written) of every file that `save` made under `root`."""
    found = []
    for path in root.glob("*/*.npz"):
        name = path.parent.name
        if len(name) == 64 and set(name) <= set("0123456789abcdef"):
            with contextlib.suppress(OSError):
                state = path.stat()
                found.append((path, state.st_size, state.st_mtime_ns))
    return found


def _remove(paths):
    for path in paths:
        with contextlib.suppress(OSError):
            path.unlink()
            path.parent.rmdir()
