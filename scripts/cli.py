"""The command `brimcast`. What takes long to import is imported by the commands that need it."""

from __future__ import annotations

import gc
from pathlib import Path
from typing import Annotated, Literal

import typer

from brimcast.shared.errors import PersonError

from . import failures, sweep, vessel
from .arguments import Change, Device, Empty, Out, Quality, Seed, SetPath, out_folder

app = typer.Typer(
    help="Predict what light does to a drink set: caustics, picture, exposure.",
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
)
app.add_typer(vessel.app, name="vessel")


def main(argv: list[str] | None = None) -> int:
    """Run a command and return its exit status: 0, 1 our fault, 2 the person's mistake, 130 interrupted."""
    status = failures.guard(app, argv)
    if argv is None:
        # The process ends: nothing is worth collecting first.
        gc.freeze()
    return status


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        print(f"brimcast {version('brimcast')}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@app.command()
def render(
    set_path: SetPath,
    out: Out = None,
    quality: Quality = None,
    device: Device = "auto",
    seed: Seed = None,
    change: Change = None,
    empty: Empty = False,
) -> None:
    """Compute the picture and the light on the table."""
    from . import computing

    changes = computing.list_changes(change, quality, seed)
    computing.compute(set_path, out or out_folder(set_path), changes, device, True, empty)


@app.command("map")
def map_(
    set_path: SetPath,
    out: Out = None,
    quality: Quality = None,
    device: Device = "auto",
    seed: Seed = None,
    change: Change = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="Make a draft again whenever the set file is saved, until Ctrl-C.")
    ] = False,
    empty: Empty = False,
) -> None:
    """Compute the light on the table alone."""
    from . import computing

    if watch:
        changes = computing.list_changes(change, quality or "draft", seed)
        computing.watch(set_path, out or out_folder(set_path), changes, device, empty)
    else:
        changes = computing.list_changes(change, quality, seed)
        computing.compute(set_path, out or out_folder(set_path), changes, device, False, empty)


@app.command()
def check(set_path: SetPath, change: Change = None) -> None:
    """Say in short what a set holds; renders nothing."""
    from brimcast.scene import setfile

    from . import computing, words

    print("\n".join(words.describe_set(setfile.read(set_path, computing.list_changes(change)))))


@app.command()
def adjust(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder of a rendered set.")],
    power: Annotated[
        list[str] | None,
        typer.Option("--power", metavar="LAMP=STOPS", help="A lamp's power, such as key='-1 stop', or off."),
    ] = None,
    gel: Annotated[
        list[str] | None,
        typer.Option(
            "--gel",
            metavar="LAMP=GEL",
            help="A gel instead of the lamp's own, such as back='cooling 80 mired', or none; several stack.",
        ),
    ] = None,
    f_number: Annotated[
        str | None,
        typer.Option("--f", metavar="N", help="f-number: exposure only, blur stays as rendered."),
    ] = None,
    iso: Annotated[str | None, typer.Option("--iso", metavar="N", help="ISO speed.")] = None,
    white: Annotated[
        str | None,
        typer.Option("--white", metavar="WHITE", help="5200K, tungsten, 'as shot', or a metered card."),
    ] = None,
    look: Annotated[
        Literal["plain", "pitch"],
        typer.Option("--look", help="As the camera clips, or with a soft shoulder for a pitch."),
    ] = "plain",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the files; else DIR itself.")
    ] = None,
) -> None:
    """Change power, gels, exposure, white without rendering again."""
    from . import adjusting

    options = {"power": power, "gel": gel, "f_number": f_number, "iso": iso, "white": white, "look": look}
    print("\n".join(adjusting.adjust(folder, out, options)))


@app.command()
def gel(
    gels: Annotated[
        list[str], typer.Argument(metavar="GEL...", help="Such as 'cooling 80 mired' or 'half CTO'; stacked.")
    ],
    lamp: Annotated[
        str, typer.Option("--lamp", metavar="COLOUR", help="Colour of the lamp, as in a set file.")
    ] = "5600 K",
) -> None:
    """Tell what a gel, or a stack, does to a lamp."""
    from . import adjusting

    print("\n".join(adjusting.describe_gels(gels, lamp)))


@app.command()
def setplan(
    set_path: SetPath,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="PATH", help="Folder, or .svg or .png file; else out/ and its name."),
    ] = None,
    paper: Annotated[Literal["a4", "a3"], typer.Option("--paper", help="Paper to print on.")] = "a4",
    as_json: Annotated[bool, typer.Option("--json", help="Print the numbers for programs.")] = False,
    change: Change = None,
) -> None:
    """Draw plan and elevation to scale; tell what is in the way."""
    from brimcast.scene.setplan import list_lines

    from . import computing, setplanning

    # For programs, drawings are written only where a place for them is named.
    folder = out if as_json else out or out_folder(set_path)
    plan, written = setplanning.make_plan(set_path, folder, computing.list_changes(change), paper)
    if as_json:
        from brimcast.renders.images import json_text

        print(json_text(plan))
    else:
        print("\n".join([*list_lines(plan), *(f"wrote {path}" for path in written)]))


@app.command()
def expose(
    set_path: SetPath,
    from_: Annotated[
        Path | None,
        typer.Option("--from", metavar="DIR", help="Folder of an earlier run; else --out, or a draft in it."),
    ] = None,
    out: Out = None,
    target: Annotated[
        str | None,
        typer.Option("--target", metavar="F", help="Aperture to reach, such as f/11; tells the power."),
    ] = None,
    ratio: Annotated[
        list[str] | None,
        typer.Option("--ratio", metavar="A:B", help="Ratio of two lamps or two meters; can be repeated."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the numbers for programs.")] = False,
    device: Device = "auto",
    change: Change = None,
) -> None:
    """Tell readings, ratios and power to reach; draw stops maps."""
    from . import computing, exposing

    changes = computing.list_changes(change)
    asked = exposing.Asked(set_path, from_, out, target, tuple(ratio or ()), changes, device)
    print("\n".join(exposing.tell(asked, as_json)))


@app.command()
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
    print(asking.ask(set_path, numbers or (), changes, quality or "draft", device, as_json, band))


@app.command()
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
    """Find the value that reaches a target, such as the throw for a line of 2 mm."""
    from . import computing, solving_sets

    changes = computing.list_changes(change)
    print(solving_sets.solve(set_path, vary, until, changes, quality, device, as_json))


app.command()(sweep.sweep)


@app.command()
def about(device: Device = "auto") -> None:
    """Show what runs here: versions, device, caches."""
    from brimcast.renders import engine

    for what, value in engine.about(device):
        print(f"{what}: {value}")


@app.command()
def new(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Of the drink, such as 'Obbleway Tonic'.")],
) -> None:
    """Write a commented set file to begin with."""
    from . import writing

    print(f"wrote {writing.write_starter(name)}")


@app.command()
def schema(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="File to write; else print it.")
    ] = None,
) -> None:
    """Print the JSON Schema of set files, for editors."""
    from . import writing

    if out is None:
        print(writing.schema_text(), end="")
    else:
        print(f"wrote {writing.write_schema(out)}")


@app.command()
def caches(
    clean: Annotated[bool, typer.Option("--clean", help="Delete what they hold.")] = False,
) -> None:
    """Show, or delete, what is kept for speed."""
    from brimcast.renders.caches import cache_folders, clean_caches

    if clean:
        print(f"freed {clean_caches() / 1e6:.1f} MB")
        return
    for folder in cache_folders():
        print(f"{folder.name}: {folder.size_bytes / 1e6:.1f} MB in {folder.files} files, {folder.path}")


if __name__ == "__main__":
    raise SystemExit(main())
