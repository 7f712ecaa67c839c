"""The command `brimcast setplan`: a set plan to scale, its numbers, and what is in the way."""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.metadata import version
from pathlib import Path

from brimcast.shared.errors import Fault, PersonError


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
    from brimcast.renders.keep import replacing_file
    from brimcast.vessels.linework import svg_text, write_png

    one = out.suffix.lower() in (".svg", ".png")
    stem = out.with_suffix("") if one else out / "setplan"
    about = f"brimcast {version('brimcast')}. Set plan of {title}. It warns; it does not certify."
    written = []
    for number, page in enumerate(pages, 1):
        for ending in [out.suffix.lower()] if one else [".svg", ".png"]:
            target = stem.with_name(stem.name + (f"-{number}" if number > 1 else "") + ending)
            try:
                with replacing_file(target) as fresh:
                    if ending == ".png":
                        write_png(fresh, page, about=about)
                    else:
                        fresh.write_text(svg_text(page, f"{title}, set plan", about), encoding="utf-8")
            except OSError as error:
                reason = f"cannot be written: {(error.strerror or str(error)).lower()}"
                raise PersonError(Fault(str(target), None, None, None, reason)) from None
            written.append(target)
    return written


def json_text(plan: dict) -> str:
    """Return a set plan's numbers as JSON, six digits; what has no end is null."""
    from brimcast.renders.images import plain_numbers

    return json.dumps(plain_numbers(plan), indent=2, sort_keys=True, ensure_ascii=False)
