"""A set and its variants, computed on demand: each once, the same light pass as the picture's."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from brimcast.scene import setfile
from brimcast.scene.builder import build
from brimcast.scene.built import BuiltSet
from brimcast.scene.models_brief import Brief, asked_lamp
from brimcast.scene.setfile import SetFile
from brimcast.shared.colour import BAND_XYZ

from .. import job, output
from ..engine import start
from ..frames import FrameStore, name_frames
from ..lightpass import Effort
from ..report import KINDS, describe
from ..stored import TABLE_KINDS, Stored
from .answer import Lacking

Progress = Callable[[float, str], None]


@dataclass(frozen=True, eq=False)
class Frame:
    """One computed variant.

    Attributes
    ----------
    built : BuiltSet
    stored : Stored
        Report and table's maps; bands of the picture where one was taken.
    """

    built: BuiltSet
    stored: Stored

    @property
    def report(self) -> dict:
        """Contents of report.json."""
        return self.stored.report

    def caustic(self, lamp: str, kind: str | None = None) -> dict:
        """Return the measures of a lamp's caustic of a kind, the brighter one where left out.

        Raises
        ------
        Lacking
            It throws none.
        """
        kinds = self.report["caustics"][lamp]
        return kinds[kind or self.brighter(lamp)]

    def brighter(self, lamp: str) -> str:
        """Return the kind of a lamp's caustic that is brighter at its peak.

        Raises
        ------
        Lacking
            It throws none.
        """
        kinds = self.report["caustics"][lamp]
        lit = {kind: kinds[kind]["pattern_over_table_stops"]["value"] for kind in KINDS}
        lit = {kind: stops for kind, stops in lit.items() if stops is not None}
        if not lit:
            raise Lacking(f"a pattern on the table, and {lamp} throws none")
        return max(lit, key=lit.get)

    def table(self, lamp: str, kinds: tuple[str, ...] = TABLE_KINDS) -> np.ndarray:
        """Return a lamp's light on the table as (16, ny, nx) bands through its gels, of kinds summed."""
        total = sum(self.stored.table[f"{lamp}.{kind}"] for kind in kinds)
        return total * self.stored.gel[lamp][:, None, None]

    def luminous(self, lamp: str, kinds: tuple[str, ...] = TABLE_KINDS) -> np.ndarray:
        """Return the same as (ny, nx) in luminous units."""
        return np.tensordot(BAND_XYZ[:, 1], self.table(lamp, kinds), 1)

    @property
    def x_mm(self) -> np.ndarray:
        """(nx,) cell centres from the datum."""
        return self.stored.table["x_mm"]

    @property
    def y_mm(self) -> np.ndarray:
        """(ny,) cell centres from the datum."""
        return self.stored.table["y_mm"]


class Study:
    """A set file and what becomes of it when some of its values change.

    Parameters
    ----------
    text, file : str
        Of the set file; `file` names it in messages and is where files that it names are looked for.
    changes : mapping, optional
        Values instead of the file's, by dotted key, in all variants.
    quality : {'draft', 'proof', 'final'}
    device : {'auto', 'cpu', 'gpu'}
    store : FrameStore, optional
        Left out, the one in the user's cache.
    progress : callable, optional
        Called with the share done of the variant in work, 0 to 1, and a line of text.

    Raises
    ------
    PersonError
        The set is wrong.
    """

    def __init__(
        self,
        text: str,
        file: str = "set.yaml",
        changes: Mapping[str, object] | None = None,
        quality: str = "draft",
        device: str = "auto",
        store: FrameStore | None = None,
        progress: Progress = lambda share, text: None,
    ):
        self.text, self.file, self.changes = text, file, dict(changes or {})
        self.quality, self.device, self.progress = quality, device, progress
        self.store = store or FrameStore()
        self._frames: dict[str, Frame] = {}
        # The same by what was asked, for building takes seconds.
        self._asked: dict[tuple, Frame] = {}
        self.set_file = self.vary({})

    @property
    def brief(self) -> Brief:
        """What is wanted."""
        return self.set_file.brief

    @property
    def lamp(self) -> str:
        """Name of the lamp that the questions are about."""
        return asked_lamp(self.brief.lamp, self.set_file.lamps)

    @property
    def hero(self) -> str:
        """Name of the hero glass.

        Raises
        ------
        Lacking
            The set has no glass.
        """
        if not self.set_file.glasses:
            raise Lacking("a glass")
        return self.set_file.hero

    @functools.cached_property
    def built(self) -> BuiltSet:
        """The set itself, made into geometry coarsely: enough for all but tracing."""
        return build(self.set_file, detail=0.5)

    def vary(self, changes: Mapping[str, object]) -> SetFile:
        """Return the set with values changed: texts as in the file, or what YAML would make of them.

        Raises
        ------
        PersonError
        """
        return setfile.parse(self.text, self.file, {**self.changes, **changes})

    def frame(
        self,
        changes: Mapping[str, object] | None = None,
        picture: bool = False,
        quality: str | None = None,
        set_file: SetFile | None = None,
        built: BuiltSet | None = None,
        effort: Effort | None = None,
    ) -> Frame:
        """Return a variant computed: from memory, from the store, or now.

        Parameters
        ----------
        changes : mapping, optional
        picture : bool
            Take the camera's picture too.
        quality : str, optional
            Instead of the study's.
        set_file : SetFile, optional
            A variant that no change of values can say, instead of `changes`.
        built : BuiltSet, optional
            One that no set file can say, such as a lamp switched off; its digest must be its own.
        effort : Effort, optional
            Instead of the quality's; only with `built`, whose digest must tell it.

        Raises
        ------
        PersonError, EngineError
        """
        quality = quality or self.quality
        if built is None:
            set_file = set_file or self.vary(changes or {})
        asked = (built.digest if built else setfile.digest(set_file), quality, picture)
        if asked not in self._asked:
            self._asked[asked] = self._find(built or build(set_file), quality, picture, changes, effort)
        return self._asked[asked]

    def _find(self, built: BuiltSet, quality: str, picture: bool, changes, effort) -> Frame:
        names = name_frames(built.digest, built.seed, quality, start(self.device).variant, picture)
        for name in names:
            if name in self._frames:
                return self._frames[name]
            if stored := self.store.find(name):
                break
        else:
            name, stored = names[0], self._compute(built, names[0], quality, picture, changes, effort)
        self._frames[name] = Frame(built, stored)
        return self._frames[name]

    def _compute(self, built, name, quality, picture, changes, effort) -> Stored:
        outcome = job.run(built, quality, self.device, picture=picture, progress=self.progress, effort=effort)
        told = {key: str(value) for key, value in {**self.changes, **(changes or {})}.items()}
        settings = output.list_settings(outcome, self.text, told)
        report = describe(outcome)
        self.store.keep(name, lambda folder: output.write_output(outcome, report, folder, settings))
        return self.store.find(name)
