"""The commands `brimcast vessel trace` and `import`: glasses from photographs and from meshes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from brimcast.shared.errors import Fault, PersonError, telling_unwritable

from .options import read_kind

Height = Annotated[
    str | None, typer.Option("--height", metavar="LENGTH", help="Height of the glass, such as 150mm.")
]


def register(app: typer.Typer) -> None:
    """Add the commands to those on vessels."""
    app.command()(trace)
    app.command("import")(import_)


def trace(
    photo: Annotated[
        Path, typer.Argument(metavar="PHOTO", help="One glass before a plain background (JPEG, PNG, TIFF).")
    ],
    height: Annotated[
        str, typer.Option("--height", metavar="LENGTH", help="Height of the glass, such as 150mm.")
    ],
    wall: Annotated[
        str | None, typer.Option("--wall", metavar="LENGTH", help="Thickness of its wall; else 2 mm.")
    ] = None,
    distance: Annotated[
        str | None,
        typer.Option(
            "--distance",
            metavar="LENGTH",
            help="From the lens to the middle of the glass, such as 1.2m; else perspective stays in.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Vessel file to write; else named after the photograph."),
    ] = None,
) -> None:
    """Trace a glass in a photograph: a vessel file to edit, and a picture to check it by eye.

    Stand the glass a metre before a bright sheet that just fills the picture: then its edges are dark.
    Hold the camera level, at half the height of the glass, and do not crop.
    """
    from brimcast.vessels import photo as photos
    from brimcast.vessels.vesselfile import write_file

    far_mm = _length("--distance", distance) if distance else None
    ask = photos.Ask(_length("--height", height), _length("--wall", wall or "2 mm"), far_mm)
    out = out or Path(f"{photo.stem}.yaml")
    if out.suffix.lower() not in (".yaml", ".yml"):
        raise PersonError(f"--out {str(out)!r}: a vessel file ends with .yaml")
    if out.exists():
        raise _fault(out, "is there already; choose another with --out, or move it away")
    found = photos.trace(photo, ask)
    overlay = photos.draw_overlay(found, out.with_name(f"{out.stem}-overlay.png"))
    lines = _trace_lines(found, ask)
    remarks = {"base": "a guess: the height of the inside's lowest point; measure it"}
    if wall is None:
        remarks["wall"] = "a guess: measure it near the rim"
    write_file(out, found.measured, [f"Traced from {photo.name}.", *lines], remarks)
    print("\n".join([out.stem, *(f"  {line}" for line in lines)]))
    print(f"wrote {out} and {overlay}: look at the picture before you trust the outline")


def _trace_lines(found, ask) -> list[str]:
    points = found.measured.outline_mm
    widest_mm, at_mm = max((diameter, height) for height, diameter in points)
    far = "as from far away" if ask.distance_mm is None else f"from {ask.distance_mm / 1000:.2f} m"
    return [
        f"{ask.height_mm:g} mm tall, widest {widest_mm:.1f} mm at {at_mm:.0f} mm, rim {points[-1][1]:.1f} mm",
        f"both sides differ by up to {found.asymmetry_mm:.2f} mm, at {found.asymmetry_at_mm:.0f} mm",
        f"leans by {found.tilt_deg:.2f} deg in the picture (taken out)",
        f"measured {far}, {found.mm_per_px:.3f} mm to a pixel, lens {found.eye_mm:.0f} mm above the foot",
        *(f"note: {note}" for note in found.notes),
    ]


def import_(
    mesh: Annotated[Path, typer.Argument(metavar="MESH", help="PLY, OBJ, STL or GLB.")],
    scale: Annotated[
        Literal["mm", "cm", "m", "in"] | None,
        typer.Option("--scale", help="Length of 1 in the file; GLB is in metres."),
    ] = None,
    height: Height = None,
    up: Annotated[
        Literal["z", "y"] | None, typer.Option("--up", help="Upward axis; else y for GLB, z for others.")
    ] = None,
    repair: Annotated[
        bool, typer.Option("--repair", help="Mend small holes, turned faces, faces without area.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Mesh to write: .stl, .ply, .obj or .glb; else a .ply."),
    ] = None,
) -> None:
    """Check another program's mesh of a glass and write it upright, in mm, standing on the table."""
    from brimcast.vessels.export import FORMATS, export_mesh
    from brimcast.vessels.imports import Import, import_mesh

    out = out or Path(f"{mesh.stem}-mm.ply")
    if out.suffix.lower() not in FORMATS:
        raise PersonError(f"--out {str(out)!r}: the ending must be one of {', '.join(FORMATS)}")
    if out.exists():
        raise _fault(out, "is there already; choose another with --out, or move it away")
    ask = Import(scale, height and _length("--height", height), up, repair=repair)
    glass = import_mesh(mesh, ask)
    with telling_unwritable(out):
        export_mesh(glass.mesh, out)
    across = glass.mesh.bounds_mm[1] - glass.mesh.bounds_mm[0]
    print(glass.name)
    print(f"  {across[0]:.1f} x {across[1]:.1f} mm across, {across[2]:.1f} mm tall; closed")
    print(f"  {len(glass.mesh.faces)} faces, {glass.mesh.volume_mm3 / 1000:.1f} ml of glass")
    for note in glass.notes:
        print(f"  note: {note}")
    unit = "" if FORMATS[out.suffix.lower()] == "m" else ", unit: mm"
    print(f"wrote {out}; in a set file: vessel: {{mesh: {out.name}{unit}}}")


def _length(option: str, text: str) -> float:
    """Return a length that an option gives, mm."""
    number = read_kind(option, "length", text)
    if number <= 0:
        raise PersonError(f"{option}: {text} is out of range; it must be more than 0")
    return number


def _fault(path: Path, text: str) -> PersonError:
    return PersonError(Fault(str(path), None, None, None, text))
