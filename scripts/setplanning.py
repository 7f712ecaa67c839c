"""The command `brimcast setplan`: a set plan to scale, its numbers, and what is in the way."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

from brimcast.shared.errors import Fault, PersonError, telling_unwritable


def make_plan(
    path: Path, out: Path | None, changes: Mapping[str, str], paper: str
) -> tuple[dict, list[Path]]:
    """Return a set plan's numbers, and the drawings that were written.

    Parameters
    ----------
    path : Path
        The set file.
    out : Path or None
        Folder, or the first page's .svg or .png; none is written for None.
    changes : mapping
        Values instead of the set file's, by dotted key.
    paper : {'a4', 'a3'}

    Raises
    ------
    PersonError
        The set is wrong, or the drawings cannot be written.
    """
    from brimcast.scene.builder import build
    from brimcast.scene.setfile import read
    from brimcast.scene.setplan import describe_plan

    built = build(read(path, changes), detail=0.5)
    plan = describe_plan(built)
    if out is None:
        return plan, []
    from brimcast.scene.plansheets import draw_sheets

    try:
        pages = draw_sheets(built, plan, paper)
    except ValueError as error:
        raise PersonError(Fault(str(path), None, None, None, str(error))) from None
    return plan, _write(pages, plan["set"]["title"], out)


def _write(pages, title: str, out: Path) -> list[Path]:
    """Write the pages, all or none; pages of an earlier, larger plan in the same folder go."""
    from brimcast.renders.keep import replacing_files
    from brimcast.vessels.linework import svg_text, write_png

    one = out.suffix.lower() in (".svg", ".png")
    endings = [out.suffix.lower()] if one else [".svg", ".png"]
    about = f"brimcast {version('brimcast')}. Set plan of {title}. It warns; it does not certify."

    def name_page(number: int, ending: str) -> Path:
        stem = out.with_suffix("") if one else out / "setplan"
        return stem.with_name(stem.name + (f"-{number}" if number > 1 else "") + ending)

    targets = {name_page(number, ending): page for number, page in enumerate(pages, 1) for ending in endings}
    with telling_unwritable(out), replacing_files(targets) as fresh:
        for path, page in zip(fresh, targets.values(), strict=True):
            if path.suffix == ".png":
                write_png(path, page, about=about)
            else:
                path.write_text(svg_text(page, f"{title}, set plan", about), encoding="utf-8")
    if not one:
        number = len(pages)
        while stale := [path for e in endings if (path := name_page(number + 1, e)).is_file()]:
            number += 1
            with telling_unwritable(out):
                for path in stale:
                    path.unlink()
    return list(targets)
