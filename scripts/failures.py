"""What a command ends with: its exit status, and words that a person can act on."""

from __future__ import annotations

import os
import sys
import traceback
from pathlib import Path

import typer

from brimcast.shared.errors import EngineError, PersonError

DONE, OUR_FAULT, PERSONS_MISTAKE, INTERRUPTED = 0, 1, 2, 130


class Interrupted(KeyboardInterrupt):
    """Ctrl-C, with what it means for the work at hand."""


def guard(app: typer.Typer, argv: list[str] | None) -> int:
    """Run a command line and return its exit status; no traceback goes to the terminal.

    Parameters
    ----------
    app : typer.Typer
    argv : list of str, optional
        Arguments; those of the process where left out.
    """
    command = typer.main.get_command(app)
    try:
        with command.make_context("brimcast", list(sys.argv[1:] if argv is None else argv)) as context:
            command.invoke(context)
        sys.stdout.flush()
    except typer.Exit as end:
        return end.exit_code
    except typer.TyperException as mistake:
        mistake.show()
        return PERSONS_MISTAKE
    except PersonError as mistake:
        _say(str(mistake))
        return PERSONS_MISTAKE
    except KeyboardInterrupt as stop:
        _say(str(stop) or "interrupted")
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read the output has gone; nothing may be written to it at the end either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OUR_FAULT
    except EngineError as refusal:
        _say(f"brimcast: {refusal}")
        return OUR_FAULT
    except Exception as error:
        _say(_explain(error))
        return OUR_FAULT
    return DONE


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _explain(error: BaseException) -> str:
    """Return one line on an error of ours, and keep its traceback; the whole of it where asked for."""
    told = "".join(traceback.format_exception(error))
    if os.environ.get("BRIMCAST_DEBUG") == "1":
        return told.rstrip()
    while error.__cause__:
        error = error.__cause__
    what = f"brimcast: this is our fault: {type(error).__name__}: {' '.join(str(error).split())[:300]}"
    kept = _keep(told)
    return f"{what} (kept in {kept})" if kept else f"{what} (see it whole with BRIMCAST_DEBUG=1)"


def _keep(told: str) -> Path | None:
    from brimcast.renders.caches import cache_root

    path = cache_root() / "last-fault.txt"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(told, encoding="utf-8")
    except OSError:
        return None
    return path
