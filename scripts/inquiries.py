"""The commands that answer questions: ask, solve, compare, sweep."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from brimcast.shared.errors import PersonError

from .arguments import Change, Device, Quality, Seed, SetPath, default_folder


def ask(
    set_path: Annotated[Path | None, typer.Argument(metavar="SET", help="The set file (YAML).")] = None,
    numbers: Annotated[
        list[str] | None, typer.Argument(metavar="[NUMBER]...", help="Questions to answer; else all.")
    ] = None,
    list_: Annotated[bool, typer.Option("--list", help="Print the questions.")] = False,
    band: Annotated[
        bool,
        typer.Option(
            "--band", help="Add to questions 2 and 3 what making and placing errors do (8 more sets)."
        ),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print for programs.")] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder of a run of this set, for its report."),
    ] = None,
    quality: Quality = None,
    device: Device = "auto",
    change: Change = None,
) -> None:
    """Answer the photographer's questions about a set."""
    from . import asking, computing

    if list_:
        print(asking.list_questions(as_json))
        return
    if set_path is None:
        raise PersonError("ask: give a set file; or --list for the questions")
    changes = computing.list_changes(change)
    asking.ask(set_path, numbers or (), changes, quality or "draft", device, as_json, band, out)


def solve(
    set_path: SetPath,
    vary: Annotated[
        list[str],
        typer.Option(
            "--vary",
            metavar="KEY=LOW:HIGH",
            help="What may be changed, such as lamps.key.throw=0.6m:4m, the end preferred first; "
            "twice for a mark.",
        ),
    ],
    until: Annotated[
        str,
        typer.Option(
            "--until",
            metavar="TARGET",
            help="What is wanted: 'line_width < 2 mm', 'tip_x = 40 mm', 'tip = [40 mm, -120 mm]', "
            "'maximise area'.",
        ),
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print for programs.")] = False,
    quality: Annotated[
        Literal["draft", "proof", "final"],
        typer.Option("--quality", help="Of the last steps; earlier ones are coarser."),
    ] = "proof",
    device: Device = "auto",
    change: Change = None,
) -> None:
    """Find the value that reaches a target."""
    from . import computing, solving_sets

    changes = computing.list_changes(change)
    print(solving_sets.solve(set_path, vary, until, changes, quality, device, as_json))


def compare(
    set_paths: Annotated[
        list[Path], typer.Argument(metavar="SET...", help="Two to six set files; or one, with --swap.")
    ],
    swap: Annotated[
        list[str] | None,
        typer.Option(
            "--swap",
            metavar="KEY=VALUE",
            help="One more option: the set with a value instead, such as 'glasses.hero.vessel=coupe'; "
            "several parted by ;. Can be repeated.",
        ),
    ] = None,
    by: Annotated[
        Literal["brightness", "area", "width"] | None,
        typer.Option("--by", help="What counts for winning; else all three."),
    ] = None,
    tolerance: Annotated[
        bool, typer.Option("--tolerance", help="Count making and placing errors; takes nine times as long.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for the output; else out/ and the name, -compare."),
    ] = None,
    quality: Quality = None,
    device: Device = "auto",
    change: Change = None,
) -> None:
    """Compare options in the same light, by the same exposure."""
    from . import comparing_sets, computing

    changes = computing.list_changes(change)
    asked = comparing_sets.Asked(set_paths, swap or [], changes, quality, device, tolerance, by)
    print("\n".join(comparing_sets.compare(asked, out or Path("out") / f"{set_paths[0].stem}-compare")))


def sweep(
    set_path: SetPath,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            "--vary",
            metavar="KEY=LOW:HIGH:COUNT",
            help="What varies, such as lamps.key.throw=0.6m:3m:9, or KEY=a,b,c; give one or two.",
        ),
    ] = None,
    picture: Annotated[
        bool, typer.Option("--picture", help="Take the camera's picture of each variant too.")
    ] = False,
    metered: Annotated[
        bool,
        typer.Option("--metered", help="Show each plain table at one level, not all at one exposure."),
    ] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", metavar="N", help="Compute in so many processes side by side.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler", metavar="ADDRESS", help="Compute on a Dask cluster whose workers see the folder."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder; else out/ and the set file's name with -sweep."),
    ] = None,
    quality: Quality = None,
    device: Device = "auto",
    seed: Seed = None,
    change: Change = None,
) -> None:
    """Vary one or two values: contact sheet, plots, film, measures."""
    from . import computing, sweeping

    folder = out or default_folder(set_path).with_name(f"{set_path.stem}-sweep")
    changes = computing.list_changes(change, quality, seed)
    asked = sweeping.Asked(
        set_path, folder, tuple(vary or ()), changes, device, picture, metered, workers, scheduler
    )
    print("\n".join(sweeping.sweep(asked)))
