"""Arguments and options that commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

SetPath = Annotated[Path, typer.Argument(metavar="SET", help="The set file (YAML).")]
Out = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help="Folder for the output; else out/ and the set file's name."),
]
Quality = Annotated[
    Literal["draft", "proof", "final"] | None,
    typer.Option("--quality", help="How clean the result is; else as the set says."),
]
Device = Annotated[
    Literal["auto", "cpu", "gpu"],
    typer.Option("--device", help="What computes: graphics card (gpu), processor, or the faster of both."),
]
Seed = Annotated[
    int | None,
    typer.Option("--seed", metavar="N", help="Another number gives other grain; else as the set says."),
]
Change = Annotated[
    list[str] | None,
    typer.Option(
        "--change",
        metavar="KEY=VALUE",
        help="A value instead of the set file's, such as 'lamps.key.throw=2 m'; can be repeated.",
    ),
]
Empty = Annotated[
    bool,
    typer.Option("--empty", help="Compute the empty glasses too; tell what filling them does to the light."),
]


def out_folder(set_path: Path) -> Path:
    """Return where the output of a set goes when nothing is said."""
    return Path("out") / set_path.stem
