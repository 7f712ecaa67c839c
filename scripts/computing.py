"""Computing a set for the commands: once, or again whenever its file is saved."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from pathlib import Path

from brimcast.scene import setfile
from brimcast.scene.glassfiles import list_files
from brimcast.scene.models import SetFile
from brimcast.scene.yamlplaces import MOST_BYTES
from brimcast.shared.errors import PersonError

from .failures import Interrupted
from .progress import Progress

POLL_S = 0.25


def list_changes(
    given: list[str] | None, quality: str | None = None, seed: int | None = None
) -> dict[str, str]:
    """Return the values to use instead of a set file's, by dotted key.

    Parameters
    ----------
    given : list of str, optional
        Such as ``lamps.key.throw=2 m``.
    quality, seed : optional
        Those of `render`, which have options of their own.

    Raises
    ------
    PersonError
        One is no key with a value.
    """
    changes = {}
    for text in given or []:
        key, sign, value = text.partition("=")
        if not (key.strip() and sign):
            raise PersonError(f"--change {text!r}: not KEY=VALUE; write it like 'lamps.key.throw=2 m'")
        changes[key.strip()] = value.strip()
    if quality is not None:
        changes["render.quality"] = quality
    if seed is not None:
        changes["render.seed"] = str(seed)
    return changes


def read_set(path: Path, changes: Mapping[str, str]) -> tuple[SetFile, str]:
    """Return the set in a file, and the file's text as it was read then.

    Raises
    ------
    PersonError
    """
    try:
        with open(path, "rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
        text = raw.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raw, text = None, ""
    if raw is None or len(raw) > MOST_BYTES:
        # It says what is the matter.
        return setfile.read(path, changes), text
    return setfile.parse(text, str(path), changes), text


def compute(
    path: Path, folder: Path, changes: Mapping[str, str], device: str, picture: bool, empty: bool = False
) -> None:
    """Compute a set, write its folder and print the main numbers.

    Parameters
    ----------
    path, folder : Path
        Of the set's file; where the output goes.
    changes : mapping of str to str
        See `list_changes`.
    device : {'auto', 'cpu', 'gpu'}
    picture : bool
        Take the camera's picture too.
    empty : bool
        Compute the table's light with all glasses empty too, and tell what filling them does.

    Raises
    ------
    PersonError, EngineError
    Interrupted
        Ctrl-C; what stood in the folder is unchanged.
    """
    from brimcast.scene.builder import build
    from brimcast.scene.emptied import empty_glasses

    from . import words, writing

    set_file, text = read_set(path, changes)
    if picture and set_file.camera is None:
        text = "missing; a picture needs a camera, a map needs none"
        raise PersonError(setfile.faults_at(set_file, "camera", text))
    emptied = empty_glasses(set_file) if empty else None
    writing.check_folder(folder)
    try:
        with Progress() as progress:
            built = build(set_file)
            # Reading and building tell their faults before the engine is loaded.
            from brimcast.renders import balance, job, output
            from brimcast.renders.emptied import compare
            from brimcast.renders.report import describe

            share = 0.5 if emptied else 1.0
            told = job.part_of(progress, 0.0, share)
            outcome = job.run(built, device=device, picture=picture, progress=told)
            report = describe(outcome)
            if emptied:
                told = job.part_of(progress, share, 1.0)
                again = job.run(build(emptied), device=device, picture=False, progress=told)
                report["empty_against_filled"] = compare(report, describe(again))
            progress(1.0, "writing")
            settings = output.list_settings(outcome, text, dict(changes))
            written, exposed = output.write_output(outcome, report, folder, settings)
    except KeyboardInterrupt:
        again = "" if set_file.render.quality == "draft" else "; run again to go on"
        raise Interrupted(f"interrupted; earlier output is unchanged{again}") from None

    notes = balance.list_unbalanced(exposed)
    if stale := output.list_stale(folder, outcome.built.digest, written):
        notes.append(f"{', '.join(stale)} there come from an earlier run and do not belong to this one")
    print("\n".join(words.describe_outcome(outcome, report, folder, written, notes)), flush=True)


def watch(path: Path, folder: Path, changes: Mapping[str, str], device: str, empty: bool = False) -> None:
    """Compute a set's map now and again whenever its file, or one that it names, is saved, until Ctrl-C.

    Raises
    ------
    EngineError
    PersonError
        There is no such file.
    Interrupted
        Always, in the end.
    """
    if not path.is_file():
        setfile.read(path, changes)
    paths = [path]
    try:
        while True:
            paths = _list_paths(path, changes) or paths
            seen = _states(paths)
            try:
                compute(path, folder, changes, device, picture=False, empty=empty)
            except PersonError as mistake:
                print(mistake, file=sys.stderr, flush=True)
            print(f"watching {path}; Ctrl-C ends it", file=sys.stderr, flush=True)
            _wait_for_save(paths, seen)
    except KeyboardInterrupt:
        raise Interrupted(f"stopped watching; {folder} holds the last whole map") from None


def _list_paths(path: Path, changes: Mapping[str, str]) -> list[Path]:
    """The set's file and those that it names; none while it cannot be read."""
    try:
        return [path, *list_files(read_set(path, changes)[0])]
    except PersonError:
        return []


def _wait_for_save(paths: list[Path], seen: list) -> None:
    """Return when a file has changed and, for a moment, none does; the set may be gone while it is saved."""
    before = seen
    while (now := _states(paths)) == seen or now[0] is None or now != before:
        before = now
        time.sleep(POLL_S)


def _states(paths: list[Path]) -> list[tuple[int, int, int] | None]:
    return [_state(path) for path in paths]


def _state(path: Path) -> tuple[int, int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
