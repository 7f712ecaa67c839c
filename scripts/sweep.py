"""The command `brimcast sweep` and its options; what it does is in `sweeping`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .arguments import Change, Device, Quality, Seed, SetPath, out_folder


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

    folder = out or out_folder(set_path).with_name(f"{set_path.stem}-sweep")
    changes = computing.list_changes(change, quality, seed)
    asked = sweeping.Asked(
        set_path, folder, tuple(vary or ()), changes, device, picture, metered, workers, scheduler
    )
    print("\n".join(sweeping.sweep(asked)))
