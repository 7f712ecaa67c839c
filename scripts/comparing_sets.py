"""The command `brimcast compare`: options in the same light by the same exposure, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from brimcast.scene.models import SECTIONS, SetFile
from brimcast.shared.errors import PersonError, telling_unwritable

from .computing import read_set
from .failures import Interrupted
from .progress import Progress

if TYPE_CHECKING:
    from brimcast.renders.answers.comparison import Comparison
    from brimcast.renders.answers.study import Study

LEAST, MOST = 2, 6
# Sets that `slips.find_spread` draws for one option.
DRAWS = 8
HELD = "what is not swapped stays as it stands in A, lamps and camera too"
CAUTION = (
    "caution: glass and liquid can focus the sun or a hot lamp enough to scorch; never leave them "
    "unattended. This warns, it does not certify; local codes come first."
)
MAKING = (
    "caution: glasses of one batch differ, and none stands just where it is planned; ± is of the computing "
    "alone. Making and placing errors were not counted."
)
COUNTED = (
    "caution: making and placing errors are those of the brief, else common practice; put in what you have "
    "measured of your glasses and stands."
)


@dataclass(frozen=True)
class Asked:
    """What `brimcast compare` is asked.

    Attributes
    ----------
    paths : list of Path
        Set files.
    swaps : list of str
        Each makes an option of the one set: ``KEY=VALUE``, several parted by ``;``.
    changes : mapping
        Values instead of those of all set files, by dotted key.
    quality : str or None
        As the first set says where left out.
    device : str
    tolerance : bool
        Count making and placing errors.
    by : str or None
        What counts for winning; all where left out.
    """

    paths: list[Path]
    swaps: list[str]
    changes: Mapping[str, str]
    quality: str | None
    device: str
    tolerance: bool
    by: str | None


def compare(asked: Asked, out: Path) -> list[str]:
    """Write the comparison and return the lines to print.

    Raises
    ------
    PersonError, EngineError
    Interrupted
    """
    from .writing import check_folder

    swaps = [read_swap(text) for text in asked.swaps]
    _check_count(asked)
    sets = [read_set(path, asked.changes) for path in asked.paths]
    for swap in swaps:
        read_set(asked.paths[0], {**asked.changes, **swap})
    check_folder(out)
    from brimcast.renders.answers import comparison, lineup

    quality = asked.quality or sets[0][0].render.quality
    try:
        with Progress() as progress:
            studies, names = _make_studies(asked, sets, swaps, quality, progress)
            told = [HELD] * bool(swaps)
            pictured = sets[0][0].camera is not None
            lined = lineup.line_up(studies, names, pictured, _spread(asked), told)
            compared = comparison.compare(lined, asked.by)
            progress(1.0, "drawing")
            return [*_list_lines(compared, asked), f"wrote {out}: {', '.join(_write(compared, asked, out))}"]
    except KeyboardInterrupt:
        kept = "earlier output is unchanged; what was computed is kept, run again to go on"
        raise Interrupted(f"interrupted; {kept}") from None


def read_swap(text: str) -> dict[str, str]:
    """Return the values of one option instead of the set's, by dotted key.

    >>> read_swap("glasses.hero.vessel=coupe; lamps.key.throw=2 m")
    {'glasses.hero.vessel': 'coupe', 'lamps.key.throw': '2 m'}

    Raises
    ------
    PersonError
        A part is no key with a value, or a key is given twice.
    """
    found: dict[str, str] = {}
    for part in filter(None, map(str.strip, text.split(";"))):
        key, sign, value = (piece.strip() for piece in part.partition("="))
        if not (key and sign and value):
            hint = "write it like 'glasses.hero.vessel=coupe'; several changes of one option are parted by ;"
            raise PersonError(f"--swap {part!r}: not KEY=VALUE; {hint}")
        if key in found:
            raise PersonError(
                f"--swap {text!r}: {key} is given twice; give another --swap for another option"
            )
        found[key] = value
    if not found:
        raise PersonError("--swap: empty; write it like 'glasses.hero.vessel=coupe'")
    return found


def name_swap(changes: Mapping[str, str]) -> str:
    """Return a short name of an option by what it has instead.

    >>> name_swap({"glasses.hero.vessel.rim": "110 mm", "lamps.key.power": "-1 stop"})
    'vessel rim 110 mm, key power -1 stop'
    """
    parts = []
    for key, value in changes.items():
        names = [name for name in key.split(".") if name != "hero"]
        if len(names) > 1 and (names[0] in SECTIONS or names[0] == "render"):
            names = names[1:]
        parts.append(f"{' '.join(names).replace('_', ' ')} {value.strip('{}')}")
    return ", ".join(parts)


def _check_count(asked: Asked) -> None:
    sets, swaps = len(asked.paths), len(asked.swaps)
    if sets > 1 and swaps:
        raise PersonError("compare: give several set files, or one with --swap; not both")
    if sets + swaps < LEAST:
        hint = "give another set file, or --swap such as 'glasses.hero.vessel=coupe'"
        raise PersonError(f"compare: there is one option only; {hint}")
    if sets + swaps > MOST:
        raise PersonError(f"compare: {sets + swaps} options are too many; up to {MOST} find room on the page")


def _make_studies(asked: Asked, sets, swaps, quality: str, progress) -> tuple[list[Study], list[str]]:
    """Return each option's study and name; each tells its share of the whole work."""
    from brimcast.renders.answers.lineup import LETTERS
    from brimcast.renders.answers.slipped import freeze_places
    from brimcast.renders.answers.study import Study

    studies: list[Study] = []
    shown = _Runs(progress, (len(sets) + len(swaps)) * (1 + DRAWS * asked.tolerance))

    def add(text: str, path: Path, changes: Mapping[str, object]) -> None:
        letter = LETTERS[len(studies)]
        studies.append(Study(text, str(path), changes, quality, asked.device, progress=shown.of(letter)))

    for path, (_, text) in zip(asked.paths, sets, strict=True):
        add(text, path, asked.changes)
    held = freeze_places(studies[0]) if swaps else {}
    for swap in swaps:
        kept = {key: value for key, value in held.items() if not _touches(swap, key)}
        add(sets[0][1], asked.paths[0], {**asked.changes, **kept, **swap})
    return studies, _name_options(asked, [read for read, _ in sets], swaps)


class _Runs:
    """Progress of many runs as one; runs that are kept already tell nothing and leave less to do."""

    def __init__(self, progress, count: int):
        self.progress, self.count = progress, count
        self.finished, self.last = 0, 0.0

    def of(self, letter: str):
        """Return what an option's runs tell their progress to."""

        def tell(share: float, words: str) -> None:
            if share < self.last:
                self.finished += 1
            self.last = share
            self.progress(min((self.finished + share) / self.count, 1.0), f"{letter}: {words}")

        return tell


def _touches(swap: Mapping[str, str], key: str) -> bool:
    """Return whether a swap sets a key, or something that it is in or that is in it."""
    return any(key == given or key.startswith(f"{given}.") or given.startswith(f"{key}.") for given in swap)


def _name_options(asked: Asked, sets: list[SetFile], swaps) -> list[str]:
    titles = [read.title for read in sets]
    if len(set(titles)) < len(titles):
        titles = [f"{title} ({path.stem})" for title, path in zip(titles, asked.paths, strict=True)]
    return titles + list(map(name_swap, swaps))


def _spread(asked: Asked):
    if not asked.tolerance:
        return None
    from brimcast.renders.answers.slips import find_spread

    return lambda study, lamp, kind: find_spread(study, lamp, kind, DRAWS)


def _write(compared: Comparison, asked: Asked, out: Path) -> list[str]:
    """Write picture, page and numbers, all or none; return their names."""
    from brimcast.renders.answers import comparepage, comparison, sidebyside
    from brimcast.renders.images import write_json, write_png
    from brimcast.renders.keep import replacing

    cautions = _list_cautions(compared, asked)
    settings = comparison.list_settings(compared.lineup, asked.tolerance)
    letters = [option.letter for option in compared.lineup.options]
    title = f"{compared.lineup.first.built.title}: {', '.join(letters[:-1])} and {letters[-1]} compared"
    panels = sidebyside.make_panels(compared.lineup)
    facts = (compared.about, compared.exposure)
    sheet = sidebyside.draw_sheet(panels, title, facts, list(map(compared.caption, letters)))
    with telling_unwritable(out), replacing(out) as fresh:
        write_png(fresh / "compare.png", sheet, settings)
        comparepage.write_page(fresh / "compare.pdf", compared, panels, title, cautions, settings)
        write_json(fresh / "compare.json", {**comparison.describe(compared, cautions), "settings": settings})
        return sorted(path.name for path in fresh.iterdir())


def _list_lines(compared: Comparison, asked: Asked) -> list[str]:
    lineup = compared.lineup
    first = lineup.first.letter
    lines = [f"{lineup.first.built.title}: {compared.about.replace(' · ', ', ')}; ± is one standard error"]
    lines.append(compared.exposure)
    for option in lineup.options:
        lines.append(f"{option.letter}  {option.name}: {', '.join(compared.caption(option.letter))}")
    for letter in compared.differences:
        lines.append(f"{letter} against {first}:")
        lines += [f"    {text}" for text in compared.tell(letter)]
    lines.append(compared.judgement.reason)
    lines += [f"note: {note}" for note in lineup.notes]
    return [*lines, *_list_cautions(compared, asked)]


def _list_cautions(compared: Comparison, asked: Asked) -> list[str]:
    """Return what to warn of: light that can scorch, empty glasses, glasses that are never two alike."""
    from brimcast.scene.emptied import list_empty

    from .words import tell_empty

    cautions = [CAUTION]
    cautions.append(COUNTED if asked.tolerance else MAKING)
    empty = {option.letter: list_empty(option.built) for option in compared.lineup.options}
    for letter, names in empty.items():
        cautions += [line.replace("caution: ", f"caution: in {letter} ") for line in tell_empty(names)]
    return cautions
