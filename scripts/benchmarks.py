"""What `scripts/bench` runs: measures of speed and error, printed and written as JSON."""

from __future__ import annotations

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


def main(argv: list[str] | None = None) -> int:
    """Run a measure and return its exit status: 0, 1 our fault, 2 the person's mistake, 130 interrupted."""
    return failures.guard(app, argv)


@app.callback()
def _parts() -> None:
    """Each part is a command of its own."""


@app.command()
def light(json_file: JsonFile = None, device: Device = "auto", repeats: Repeats = 5) -> None:
    """Error of the light and camera passes against Mitsuba's own path and particle tracers at equal time."""
    from .benchmark_light import describe, measure
    from .writing import check_folder

    if json_file:
        check_folder(json_file.parent)
    figures = measure(device, repeats, tell=lambda text: print(text, file=sys.stderr, flush=True))
    print(describe(figures))
    if json_file:
        from brimcast.renders.images import write_json
        from brimcast.shared.errors import telling_unwritable

        with telling_unwritable(json_file):
            write_json(json_file, figures)
    if figures["disagreements"]:
        from brimcast.shared.errors import EngineError

        cure = "Cure: if the set's light was changed on purpose, raise REFERENCE_FORM; else it is a fault"
        raise EngineError("\n".join([*figures["disagreements"], cure]))


if __name__ == "__main__":
    raise SystemExit(main())
