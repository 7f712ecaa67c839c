"""The command `brimcast solve`: which value of a set reaches a target."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

from brimcast.shared.errors import PersonError

from .computing import read_set
from .failures import Interrupted
from .options import read_option
from .progress import Progress

MOST_VARIED = 2


def solve(
    path: Path,
    varied: list[str],
    until: str,
    changes: Mapping[str, str],
    quality: str,
    device: str,
    as_json: bool,
) -> str:
    """Return what a search in a set came to, in words or for programs.

    Parameters
    ----------
    path : Path
    varied : list of str
        Ranges such as ``lamps.key.throw=0.6m:4m``.
    until : str
        The target, such as ``line_width < 2 mm``.
    changes : mapping
        Values instead of the set file's, by dotted key.
    quality : {'draft', 'proof', 'final'}
        Of the last steps; earlier ones are coarser.
    device : {'auto', 'cpu', 'gpu'}
    as_json : bool

    Raises
    ------
    PersonError, EngineError
    Interrupted
    """
    from brimcast.renders.answers.targets import read_range, read_target

    if not 1 <= len(varied) <= MOST_VARIED:
        raise PersonError(f"--vary: given {len(varied)} times; allowed: once, or twice for a mark")
    ranges = tuple(read_option("--vary", read_range, text) for text in varied)
    if len({one.key for one in ranges}) < len(ranges):
        raise PersonError(f"--vary: {ranges[0].key} is given twice; keep one")
    target = read_option("--until", read_target, until)
    text = read_set(path, changes)[1]

    from brimcast.renders.answers.answer import Lacking
    from brimcast.renders.answers.solver import solve as search
    from brimcast.renders.answers.solverwords import tell_solution, tell_step
    from brimcast.renders.answers.solving import first_estimate
    from brimcast.renders.answers.study import Study

    try:
        with Progress(open_ended=True) as progress:
            study = Study(text, str(path), changes, quality, device, progress=progress)
            found = search(
                study, ranges, target, quality, lambda step: progress.tell(tell_step(ranges, target, step))
            )
            estimate, beside = first_estimate(study, found)
    except Lacking as lack:
        raise PersonError(f"{path}: the search {lack}") from None
    except KeyboardInterrupt:
        raise Interrupted("interrupted; what was computed is kept, solve again to go on") from None
    words = [*tell_solution(found), *beside]
    if as_json:
        return _as_json(study, found, estimate, words, quality)
    about = f"{study.set_file.title}: {quality}, about the lamp {study.lamp}; ± is one standard error"
    return "\n".join([about, *words])


def _as_json(study, found, estimate, words: list[str], quality: str) -> str:
    from brimcast.renders.images import json_text

    ranges = [{"key": one.key, "from": one.first, "to": one.last, "unit": one.unit} for one in found.ranges]
    steps = [
        {"values": list(step.values), "quality": step.quality, "measured": step.measured}
        for step in found.steps
    ]
    settings = {
        "version": version("brimcast"),
        "set": study.text,
        "changes": study.changes,
        "quality": quality,
        "seed": study.set_file.render.seed,
        "digest": study.built.digest,
    }
    told = {
        "target": found.target.text,
        "vary": ranges,
        "met": found.met,
        "verdict": found.outcome.verdict,
        "values": {one.key: value for one, value in zip(found.ranges, found.values, strict=False)},
        "measured": found.measured,
        "slope": found.slope,
        "kind": found.kind,
        "lasts": found.outcome.lasts,
        "ends": found.ends,
        "first_estimate": estimate,
        "words": words,
        "steps": steps,
        "settings": settings,
    }
    return json_text(told)
