"""How far the work is: a bar on a terminal, else a line now and then."""

from __future__ import annotations

import sys
import time

LINE_EVERY_S = 10.0


class Progress:
    """Shows the share that is done on the error stream; use it in a `with` block and call it.

    On a terminal a bar with the share and the time left; it is gone at the end. Elsewhere a line every
    ten seconds.

    Parameters
    ----------
    open_ended : bool
        Nobody knows how many pieces of work there will be: the share is of the piece that is done now, and no
        time left is told.
    """

    def __init__(self, open_ended: bool = False) -> None:
        self.open_ended = open_ended
        self.began = time.monotonic()
        self.told = self.began
        self.share = 0.0
        self.bar = None

    def __enter__(self) -> Progress:
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeRemainingColumn
            from rich.progress import Progress as Bar

            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                TaskProgressColumn(),
                *(() if self.open_ended else (TimeRemainingColumn(), TextColumn("left at most"))),
            )
            shown = {"console": Console(stderr=True), "transient": True, "redirect_stdout": False}
            self.bar = Bar(*columns, **shown)
            self.task = self.bar.add_task("making the set", total=1.0)
            self.bar.start()
        return self

    def __exit__(self, *_) -> None:
        if self.bar:
            self.bar.stop()

    def __call__(self, share: float, text: str) -> None:
        """Show the share done, 0 to 1, and what is being done; a smaller share than before begins anew."""
        if share < self.share:
            self._begin_anew()
        self.share = share
        if self.bar:
            self.bar.update(self.task, completed=share, description=text)
            return
        now = time.monotonic()
        if share < 1 and now - self.told >= LINE_EVERY_S:
            self.told = now
            left = "" if self.open_ended else _left(share, now - self.began)
            print(f"{share:4.0%}  {text}{left}", file=sys.stderr, flush=True)

    def tell(self, text: str) -> None:
        """Print a line that stays, above the bar: something is done, and what comes starts anew."""
        if self.bar:
            self.bar.console.print(text, markup=False, highlight=False)
        else:
            print(text, file=sys.stderr, flush=True)
        self._begin_anew()
        self.told = self.began

    def answer(self, text: str) -> None:
        """Print part of the result to the output stream; what comes starts anew."""
        if self.bar:
            self.bar.stop()
        print(text, flush=True)
        if self.bar:
            self.bar.start()
        self._begin_anew()
        self.told = self.began

    def _begin_anew(self) -> None:
        self.began = time.monotonic()
        if self.bar:
            self.bar.reset(self.task)


def _left(share: float, spent_s: float) -> str:
    if share < 0.02:
        return ""
    left_s = spent_s * (1 - share) / share
    if left_s < 0.5:
        return ""
    # Work ends early where the asked error is reached.
    return f", at most {left_s:.0f} s left" if left_s < 90 else f", at most {left_s / 60:.0f} min left"
