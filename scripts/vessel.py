"""The commands `brimcast vessel`: the library of glasses, and one glass in numbers, as a drawing, as a mesh.

What long work needs stands in modules of its own and is imported by the command that runs it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from . import vessel_ways

app = typer.Typer(
    help="Glasses: the library, measures, drawings, meshes.", rich_markup_mode=None, no_args_is_help=True
)

FOLDER = Path("out") / "vessels"
CONTACT = FOLDER / "contact.png"
Which = Annotated[
    str,
    typer.Argument(metavar="VESSEL", help="A name from `vessel list`, a vessel file, or a set file (YAML)."),
]
Of = Annotated[
    str | None, typer.Option("--of", metavar="GLASS", help="Which glass of a set file; else its hero.")
]


@app.command("list")
def list_(
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> None:
    """List the library: name, measures, capacity."""
    from . import glassware

    print(glassware.list_json() if as_json else "\n".join(glassware.list_lines()))


@app.command()
def show(
    which: Which,
    fill: Annotated[
        list[str] | None,
        typer.Option(
            "--fill",
            metavar="HEIGHT",
            help="Fill line above the table, such as 100mm, or a volume, such as 150ml; can be repeated.",
        ),
    ] = None,
    made_of: Annotated[
        Literal["soda-lime", "borosilicate", "crystal", "acrylic"] | None,
        typer.Option("--made-of", help="What it is made of; else as the set says, or soda-lime."),
    ] = None,
    of: Of = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PATH", help="Folder, or .png or .svg file; else out/vessels."),
    ] = None,
) -> None:
    """Print a glass's numbers and draw its section."""
    from . import glassware

    shown = glassware.choose(which, of)
    lines, written = glassware.show(shown, fill or [], made_of, out or FOLDER)
    print("\n".join([*lines, *(f"wrote {path}" for path in written)]))


@app.command()
def export(
    which: Which,
    to: Annotated[
        Path, typer.Option("--to", metavar="FILE", help="File to write: .stl, .ply, .obj or .glb.")
    ],
    detail: Annotated[
        float, typer.Option("--detail", metavar="X", help="1: chord error 0.002 mm; 0.5: four times that.")
    ] = 1.0,
    of: Of = None,
) -> None:
    """Write a glass as a mesh for other programs."""
    from . import glassware

    print(glassware.export(glassware.choose(which, of), to, detail))


@app.command()
def contact(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[NAME]...", help="Glasses of the library; else all.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Picture to write.")] = CONTACT,
    device: Annotated[
        Literal["auto", "cpu", "gpu"],
        typer.Option(
            "--device", help="What computes: graphics card (gpu), processor, or the faster of both."
        ),
    ] = "auto",
) -> None:
    """Picture the library, each glass empty under one lamp."""
    from . import contact as sheet

    print(sheet.make_contact(names or [], out, device))


vessel_ways.register(app)
