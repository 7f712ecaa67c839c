"""The folder for what can be made again: compiled kernels, renders, what probes found out."""

import functools
import hashlib
import json
import os
import shutil
from dataclasses import dataclass
from importlib import import_module
from importlib.metadata import version
from pathlib import Path

# Packages that numbers come from.
COMPUTING = ("shared", "vessels", "scene", "renders")


@dataclass(frozen=True)
class CacheFolder:
    """A folder that the program fills for speed and can do without."""

    name: str
    path: Path
    size_bytes: int
    files: int


def cache_root():
    """Return the program's cache folder (XDG Base Directory Specification 0.8), which may not exist yet."""
    named = os.environ.get("XDG_CACHE_HOME", "")
    # The specification asks to ignore a path that is not absolute.
    base = Path(named) if os.path.isabs(named) else Path("~").expanduser() / ".cache"
    return base / "brimcast"


@functools.cache
def edition():
    """Return what kept results belong to: the program's version, and a digest of its code and tables.

    The version alone would hand out what older code computed to whoever works on the program, or takes it
    from its repository.
    """
    roots = [Path(import_module(f"brimcast.{package}").__file__).parent for package in COMPUTING]
    return f"{version('brimcast')}+{digest_code(roots)[:16]}"


def digest_code(roots):
    """Return the SHA-256 of all code and tables in folders, names and contents, as hexadecimal text."""
    told = hashlib.sha256()
    for root in roots:
        for path in sorted(path for path in root.rglob("*") if path.suffix in (".py", ".csv")):
            told.update(f"{path.relative_to(root)}\0{path.stat().st_size}\0".encode() + path.read_bytes())
    return told.hexdigest()


def kernel_folder():
    """Return the folder of compiled kernels: the one that ``DRJIT_CACHE_DIR`` names, else our own."""
    return Path(os.environ.get("DRJIT_CACHE_DIR") or cache_root() / "kernels")


def cache_folders():
    """Return the cache folders with their sizes.

    Returns
    -------
    tuple of CacheFolder
        Kernels first, also when nothing has been compiled yet.
    """
    paths = {"kernels": kernel_folder()}
    if cache_root().is_dir():
        for path in sorted(cache_root().iterdir()):
            if path.is_dir():
                paths.setdefault(path.name, path)
    return tuple(CacheFolder(name, path, *_contents(path)) for name, path in paths.items())


def clean_caches():
    """Delete what the program's cache folder holds.

    A kernel folder elsewhere, named by ``DRJIT_CACHE_DIR``, is the person's own and stays.

    Returns
    -------
    int
        Bytes that were freed.
    """
    root = cache_root()
    if not root.is_dir():
        return 0
    before, _ = _contents(root)
    for path in list(root.iterdir()):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
    return before - _contents(root)[0]


def file_state(path):
    """Return text that changes when the file at a path does: real path, size, time.

    Raises
    ------
    OSError
        There is no such file.
    """
    real = os.path.realpath(path)
    status = os.stat(real)
    return f"{real}|{status.st_size}|{status.st_mtime_ns}"


def recall(memory, key):
    """Return the facts kept under a key.

    Parameters
    ----------
    memory : pathlib.Path or None
        JSON file; None keeps nothing.
    key : str

    Returns
    -------
    dict
        Empty when nothing is kept or the file cannot be read.
    """
    facts = _read(memory).get(key)
    return facts if isinstance(facts, dict) else {}


def remember(memory, key, **facts):
    """Add facts to those kept under a key; where the folder cannot be written, they are forgotten."""
    if memory is None:
        return
    kept = _read(memory)
    kept[key] = {**recall(memory, key), **facts}
    # Another process may read meanwhile, so the file changes in one step.
    partial = memory.with_name(f"{memory.name}.{os.getpid()}")
    try:
        memory.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(json.dumps(kept, indent=1), encoding="utf-8")
        partial.replace(memory)
    except OSError:
        return


def _read(memory):
    """Return the whole memory; {} when it is missing or damaged."""
    try:
        kept = json.loads(memory.read_text(encoding="utf-8")) if memory else {}
    except (OSError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}


def _contents(folder):
    """Return bytes and number of the files in a folder, those of its folders included."""
    sizes = []
    for path in folder.rglob("*"):
        try:
            if path.is_file():
                sizes.append(path.stat().st_size)
        except OSError:
            continue  # Another process cleans up at the same time.
    return sum(sizes), len(sizes)
