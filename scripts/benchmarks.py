"""What `scripts/bench` runs: measures of speed and error, printed and written as JSON."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from . import failures

app = typer.Typer(
    help="Measure how fast and how exact the light is computed on this machine.",
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
)

JsonFile = Annotated[
    Path | None, typer.Option("--json", metavar="FILE", help="Write the figures here too, as JSON.")
]
Device = Annotated[
    Literal["auto", "cpu", "gpu"],
    typer.Option("--device", help="What computes: graphics card (gpu), processor, or the faster of both."),
]
Repeats = Annotated[int, typer.Option("--repeats", min=1, help="Timed runs, of which the median counts.")]
Workers = Annotated[int, typer.Option("--workers", min=1, help="Worker processes of the sweep.")]


def main(argv: list[str] | None = None) -> int:
    """Run a measure and return its exit status: 0, 1 our fault, 2 the person's mistake, 130 interrupted."""
    return failures.guard(app, argv)


@app.callback()
def _parts() -> None:
    """Each part is a command of its own."""


@app.command()
def light(json_file: JsonFile = None, device: Device = "auto", repeats: Repeats = 5) -> None:
    """Error of the light and camera passes against Mitsuba's own path and particle tracers at equal time."""
    _report(("light",), json_file, device, repeats=repeats)


@app.command()
def pictures(json_file: JsonFile = None, device: Device = "auto") -> None:
    """Seconds of a draft map after a lamp was moved, and of a proof picture of a whole set."""
    _report(("pictures",), json_file, device)


@app.command()
def start(json_file: JsonFile = None, device: Device = "auto", repeats: Repeats = 5) -> None:
    """Seconds of importing the packages, and of a draft map as a process of its own."""
    _report(("start",), json_file, device, repeats=repeats)


@app.command()
def sweep(json_file: JsonFile = None, device: Device = "auto", workers: Workers = 2) -> None:
    """Efficiency of a sweep of 64 frames by several workers."""
    _report(("sweep",), json_file, device, workers=workers)


@app.command("all")
def all_(
    json_file: JsonFile = None, device: Device = "auto", repeats: Repeats = 5, workers: Workers = 2
) -> None:
    """All of them, one after the other."""
    _report(tuple(PARTS), json_file, device, repeats=repeats, workers=workers)


# What each part can be told beside the device.
PARTS = {"start": ("repeats",), "light": ("repeats",), "pictures": (), "sweep": ("workers",)}


def _report(parts: tuple[str, ...], json_file: Path | None, device: str, **asked: int) -> None:
    """Run parts of the benchmark; print each one's figures when they are known, and write all of them."""
    from .writing import check_folder

    if json_file:
        check_folder(json_file.parent)
    figures = {}
    for part in parts:
        module = importlib.import_module(f".benchmark_{part}", __package__)
        found = module.measure(device, tell=_tell, **{key: asked[key] for key in PARTS[part]})
        print(module.describe(found), flush=True)
        figures |= found
    if json_file:
        from brimcast.renders.images import write_json
        from brimcast.shared.errors import telling_unwritable

        with telling_unwritable(json_file):
            write_json(json_file, figures)
    if figures.get("disagreements"):
        from brimcast.shared.errors import EngineError

        cure = "Cure: if the set's light was changed on purpose, raise REFERENCE_FORM; else it is a fault"
        raise EngineError("\n".join([*figures["disagreements"], cure]))


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
