"""The command `brimcast sweep`: one or two values of a set varied, each variant computed once and kept."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from brimcast.scene import setfile
from brimcast.shared.errors import PersonError

from . import words
from .computing import read_set
from .failures import Interrupted
from .progress import Progress
from .writing import check_folder

if TYPE_CHECKING:
    from brimcast.renders.answers.sweepfiles import Frame
    from brimcast.renders.answers.takes import Take
    from brimcast.renders.answers.variations import Variant, Variation
    from brimcast.scene.built import BuiltSet

# So many variants are told one by one.
MOST_TOLD = 12
MOST_WORKERS = 256


@dataclass(frozen=True)
class Asked:
    """What `brimcast sweep` is asked.

    Attributes
    ----------
    path, out : Path
        The set's file, and the folder for the output.
    vary : tuple of str
        See `variations.read_variation`.
    changes : mapping
    device : {'auto', 'cpu', 'gpu'}
    picture : bool
        Take the camera's picture of each variant too.
    metered : bool
        Show every table at one level, instead of all at one exposure.
    workers : int or None
        Processes to start here.
    scheduler : str or None
        Address of a Dask cluster's.
    """

    path: Path
    out: Path
    vary: tuple[str, ...]
    changes: Mapping[str, str]
    device: str = "auto"
    picture: bool = False
    metered: bool = False
    workers: int | None = None
    scheduler: str | None = None


@dataclass(frozen=True, eq=False)
class Checked:
    """A variant that was found right: its coarse geometry, and the take that computes it.

    `digest` is that of what the take computes, `pictured` that of what it would with a picture.
    """

    variant: Variant
    built: BuiltSet
    take: Take
    digest: str
    pictured: str


def sweep(asked: Asked) -> list[str]:
    """Compute a sweep, write its folder and return the lines to print.

    Raises
    ------
    PersonError, EngineError
    Interrupted
        Ctrl-C; whole frames are kept, other output is unchanged.
    """
    variations = read_variations(asked)
    _check_workers(asked)
    set_file, text = read_set(asked.path, asked.changes)
    if asked.picture and set_file.camera is None:
        raise PersonError(setfile.faults_at(set_file, "camera", "missing; --picture needs a camera"))
    check_folder(asked.out)
    try:
        with Progress() as progress:
            checked = _check(asked, variations, set_file, text, progress)
        return _run(asked, variations, set_file, text, checked)
    except KeyboardInterrupt:
        kept = "whole frames are kept, other output is unchanged; run again to go on"
        raise Interrupted(f"interrupted; {kept}") from None


def read_variations(asked: Asked) -> tuple[Variation, ...]:
    """Return what varies.

    Raises
    ------
    PersonError
        With all faults of the options.
    """
    from brimcast.renders.answers.variations import OPTION, list_variants, read_variation

    if not asked.vary:
        raise PersonError(f"{OPTION}: missing; say what varies, like {OPTION} lamps.key.throw=0.6m:3m:9")
    found, faults = [], []
    for text in asked.vary:
        try:
            found.append(read_variation(text))
        except PersonError as wrong:
            faults += wrong.faults
    for variation in found:
        if variation.key in asked.changes:
            faults.append(f"{OPTION} {variation.key}: --change, --quality or --seed sets it too; keep one")
    if faults:
        raise PersonError(faults)
    list_variants(found)
    return tuple(found)


def _check_workers(asked: Asked) -> None:
    if asked.workers is not None and asked.scheduler is not None:
        raise PersonError("--workers and --scheduler: give one, workers here or a cluster's")
    if asked.workers is not None and not 1 <= asked.workers <= MOST_WORKERS:
        raise PersonError(f"--workers {asked.workers}: not allowed; allowed: 1 to {MOST_WORKERS}")
    if asked.workers is not None or asked.scheduler is not None:
        from brimcast.renders.answers.takes import import_dask

        import_dask()


def _check(asked: Asked, variations, base, text: str, progress) -> list[Checked]:
    """Return all variants parsed and built coarsely, or raise all that is wrong with any of them."""
    from brimcast.renders.answers.sweeps import trim_built
    from brimcast.renders.answers.takes import Take
    from brimcast.renders.answers.variations import check_variants, list_variants, steady_changes
    from brimcast.scene.builder import build

    file = str(asked.path.absolute())

    def check(variant: Variant) -> Checked:
        changes = {**asked.changes, **variant.changes}
        set_file = setfile.parse(text, str(asked.path), changes)
        steady = [steady_changes(set_file, base, picture) for picture in (False, True)]
        digests = [setfile.digest(setfile.parse(text, str(asked.path), changes | same)) for same in steady]
        folder, quality = str((asked.out / "frames").absolute()), set_file.render.quality
        traced = changes | steady[asked.picture]
        take = Take(text, file, traced, quality, asked.device, asked.picture, folder, str(variant))
        built = trim_built(build(set_file, detail=0.5))
        return Checked(variant, built, take, digests[asked.picture], digests[True])

    variants, checked = list_variants(variations), []
    for number, found in enumerate(check_variants(variants, check)):
        checked.append(found)
        progress((number + 1) / len(variants), "checking the sets")
    return checked


def _run(asked: Asked, variations, base, text: str, checked: list[Checked]) -> list[str]:
    """Compute what is not kept yet, write all files, and return the lines to print."""
    from brimcast.renders.answers import sweepfiles
    from brimcast.renders.frames import FrameStore

    store = FrameStore(asked.out / "frames", None)
    with contextlib.ExitStack() as pool:
        variant, compute = _start(asked, pool)
        names, takes = _find_kept(checked, store, variant)
        progress = pool.enter_context(Progress())
        for _ in compute(takes, progress):
            pass
    frames = tuple(
        sweepfiles.Frame(each.variant, each.built, name) for each, name in zip(checked, names, strict=True)
    )
    quality = ", ".join(dict.fromkeys(each.take.quality for each in checked))
    settings = _list_settings(asked, variations, base, text, variant)
    done = sweepfiles.Sweep(variations, frames, store, quality, asked.metered, settings)
    with Progress() as progress:
        written, measures = sweepfiles.write_sweep(done, asked.out, asked.picture, progress)
    computed = f"{len(takes)} computed, {len(set(names)) - len(takes)} kept from before"
    return [
        f"{base.title}: {len(checked)} variants at {quality}; {computed}",
        *_tell_variants(done, base, measures),
        *_tell_cautions(frames, measures),
        f"wrote {asked.out}: {', '.join(written)}",
        *_tell_stale(sweepfiles.list_stale(asked.out, written)),
    ]


def _start(asked: Asked, pool: contextlib.ExitStack):
    """Return the engine's variant, and what computes takes: workers that end with `pool`, or this process."""
    from brimcast.renders.answers import takes

    if asked.workers is not None or asked.scheduler is not None:
        crew = pool.enter_context(takes.Pool(asked.device, asked.workers, asked.scheduler))
        return crew.variant, crew.compute
    from brimcast.renders.engine import start

    return start(asked.device).variant, takes.compute_here


def _find_kept(checked: list[Checked], store, variant: str) -> tuple[list[str], list[Take]]:
    """Return the name of each variant's frame, and takes for those that are not kept, each once."""
    from brimcast.renders.frames import name_frames

    names, missing = [], {}
    for each in checked:
        about = each.built.seed, each.take.quality, variant
        # A picture's run has the table's light too.
        wanted = [
            *name_frames(each.digest, *about, each.take.picture),
            *name_frames(each.pictured, *about, True),
        ]
        name = next((name for name in wanted if name in missing or store.find(name, table=False)), None)
        if name is None:
            name = wanted[0]
            missing[name] = each.take
        names.append(name)
    return names, list(missing.values())


def _list_settings(asked: Asked, variations, base, text: str, variant: str) -> dict:
    """Return all that it takes to make the sweep again."""
    return {
        "version": version("brimcast"),
        "title": base.title,
        "digest": setfile.digest(base),
        "set": text,
        "changes": dict(asked.changes),
        "vary": {variation.key: list(variation.texts) for variation in variations},
        "quality": base.render.quality,
        "seed": base.render.seed,
        "engine": {"variant": variant},
        "picture": asked.picture,
        "metered": asked.metered,
    }


def _tell_variants(done, base, measures: list[dict]) -> list[str]:
    """Return the main numbers, a line for each variant; of a long sweep, of some of them."""
    from brimcast.renders.answers.answer import tell
    from brimcast.renders.answers.pattern import KIND_WORDS

    lamp = base.brief.lamp or ("key" if "key" in base.lamps else next(iter(base.lamps)))
    lit = {
        found[f"{lamp}.{kind}.pattern_over_table_stops"]["value"]: kind
        for found in measures
        for kind in KIND_WORDS
    }
    lit.pop(None, None)
    if not lit:
        return [f"{lamp} throws no pattern on the table in any variant"]
    kind = lit[max(lit)]
    lines = [f"{lamp}, {KIND_WORDS[kind]}; ± is one standard error:"]
    step = -(-len(measures) // MOST_TOLD)
    for frame, found in list(zip(done.frames, measures, strict=True))[::step]:
        wide = tell(found[f"{lamp}.{kind}.line_width_mm"], 1)
        bright = tell(found[f"{lamp}.{kind}.peak_over_table_stops"], 1, "+")
        wide = "no line with two edges" if wide == "none" else f"line {wide} wide"
        lines.append(f"    {done.tell_values(frame)}: {wide}, brightest {bright} over the plain table")
    return lines


def _tell_cautions(frames: tuple[Frame, ...], measures: list[dict]) -> list[str]:
    brightest = [
        entry["value"] or 0.0
        for found in measures
        for name, entry in found.items()
        if name.endswith(".peak_over_table_stops")
    ]
    lines = [words.SCORCH] if max(brightest, default=0.0) >= words.SCORCH_STOPS else []
    if frames[0].built.relative:
        lines.append("relative: no lamp has a meter reading; compare stops, take no f-number from this")
    return lines


def _tell_stale(names: list[str]) -> list[str]:
    if not names:
        return []
    return [f"note: {', '.join(names)} there come from an earlier sweep and do not belong to this one"]
