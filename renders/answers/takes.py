"""Variants of a set to compute, one by one here or side by side by workers; each is kept when whole."""

from __future__ import annotations

import contextlib
import itertools
import os
import re
import signal
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from brimcast.shared.errors import EngineError, PersonError

from ..caches import edition

Progress = Callable[[float, str], None]

_CURE = "Cure: run again to go on, with fewer workers if memory is short"
CLUSTER_CURE = "python -m pip install 'brimcast[cluster]'"
# How long a scheduler may take to answer, how often the time left is told anew while workers compute, and
# how long they may all be away.
PATIENT_S, TOLD_EVERY_S, MOST_AWAY_S = 10.0, 1.0, 90.0
# One set at a time in a process, however many threads a worker has.
_ENGINE = threading.Lock()


@dataclass(frozen=True)
class Take:
    """One variant to compute; plain values, so that it can be sent to a worker.

    Attributes
    ----------
    text, file : str
        Of the set file; `file` is where files that it names are looked for.
    changes : dict of str to str
        Values instead of the file's.
    quality : {'draft', 'proof', 'final'}
    device : {'auto', 'cpu', 'gpu'}
    picture : bool
    folder : str
        Of the frame store, which all workers see.
    words : str
        What varies, for people.
    """

    text: str
    file: str
    changes: dict[str, str]
    quality: str
    device: str
    picture: bool
    folder: str
    words: str


def compute_take(take: Take, progress: Progress = lambda share, text: None) -> str:
    """Compute a variant, keep it whole in the store, and return its folder.

    Raises
    ------
    PersonError, EngineError
    """
    from ..frames import FrameStore
    from .study import Study

    store = FrameStore(Path(take.folder), None)
    study = Study(take.text, take.file, take.changes, take.quality, take.device, store, progress)
    with _ENGINE:
        return str(study.frame(picture=take.picture).stored.folder)


def compute_here(takes: Sequence[Take], progress: Progress) -> Iterator[str]:
    """Compute takes one after the other and yield the folder of each; progress runs over all of them."""
    for number, take in enumerate(takes):

        def tell(share: float, text: str, number=number, take=take) -> None:
            progress((number + share) / len(takes), f"{number + 1} of {len(takes)}, {take.words}: {text}")

        yield compute_take(take, tell)


class Pool:
    """Workers on this machine or of a Dask cluster; use it in a `with` block.

    Parameters
    ----------
    device : {'auto', 'cpu', 'gpu'}
    workers : int, optional
        Processes to start here; they listen on this machine alone and end with the block.
    scheduler : str, optional
        Address of the scheduler of a cluster whose workers see the frame store's folder.
    threads : int, optional
        Cores of each worker here; left out, an even share.

    Raises
    ------
    PersonError
        What workers need is not installed, the scheduler cannot be reached or has no workers.
    EngineError
        A worker cannot trace, or workers differ in version or device.

    Attributes
    ----------
    variant : str
        Of the workers' engines.
    count : int
        Of workers.
    """

    def __init__(
        self,
        device: str,
        workers: int | None = None,
        scheduler: str | None = None,
        threads: int | None = None,
    ):
        self.device, self.workers, self.scheduler, self.threads = device, workers, scheduler, threads

    def __enter__(self) -> Pool:
        dask, distributed = import_dask()
        self._open = contextlib.ExitStack()
        with self._open:
            # A set that ends its worker does so again: two tries are enough. No dashboard is served.
            calm = {"distributed.scheduler.allowed-failures": 1}
            self._open.enter_context(dask.config.set(calm))
            if self.scheduler is None:
                address = self._open.enter_context(self._start(distributed))
            else:
                address = self.scheduler
            try:
                client = distributed.Client(address, timeout=PATIENT_S)
            except (OSError, ValueError) as error:
                text = f"--scheduler {self.scheduler!r}: cannot be reached; write it like tcp://host:8786"
                raise PersonError(text) from error
            self._client = self._open.enter_context(client)
            if self.scheduler is None:
                self._client.register_plugin(_quiet_worker(distributed))
            self._meet()
            self._open = self._open.pop_all()
        return self

    def __exit__(self, *error) -> None:
        self._open.close()

    def _start(self, distributed):
        """Return a cluster on this machine."""
        scratch = self._open.enter_context(tempfile.TemporaryDirectory())
        return distributed.LocalCluster(
            n_workers=self.workers,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            local_directory=scratch,
            # A worker that waits for memory would wait for ever.
            memory_limit=None,
            silence_logs="CRITICAL",
        )

    def _meet(self) -> None:
        """Start the engines of all workers, and see that they are alike."""
        infos = self._list_workers()
        if not infos:
            raise PersonError(f"--scheduler {self.scheduler!r}: it has no workers; start some")
        self.count = len(infos)
        # Workers here share the cores; each of a cluster's has as many as it was started with.
        share = max(1, (os.cpu_count() or 1) // self.count)
        self._threads = None if self.scheduler else self.threads or share
        # Workers here take the graphics cards in turn; each of a cluster's has what it was started with.
        cards = list_cards() if self.scheduler is None and self.device != "cpu" else []
        turns = itertools.islice(itertools.cycle(cards or [None]), self.count)
        asked = [
            self._client.submit(_prepare, self.device, card, workers=[address], pure=False)
            for address, card in zip(infos, turns, strict=True)
        ]
        alike = set(self._client.gather(asked))
        if len(alike) > 1:
            found = "; ".join(sorted(f"brimcast {number} on {variant}" for number, variant in alike))
            cure = "Cure: install one version everywhere, and give --device cpu or --device gpu"
            raise EngineError(f"the workers differ, and so would their results: {found}. {cure}")
        number, self.variant = alike.pop()
        if number != edition():
            text = f"the workers have brimcast {number}, and this is {edition()}. Cure: install one"
            raise EngineError(text)

    @property
    def address(self) -> str:
        """Of the scheduler."""
        return self._client.scheduler.address

    def _list_workers(self) -> list[str]:
        """Return the addresses of the workers there are now."""
        return list(self._client.scheduler_info(n_workers=-1)["workers"])

    def compute(self, takes: Sequence[Take], progress: Progress) -> Iterator[str]:
        """Compute takes side by side and yield the folder of each as it is done.

        Frames that are whole stay when this ends early.

        Raises
        ------
        EngineError
            A worker died, or all of them are gone.
        PersonError
        """
        from distributed import wait
        from distributed.scheduler import KilledWorker

        submit, seen = self._client.submit, time.monotonic()
        waiting = {submit(_compute_in_worker, take, self._threads, pure=False): take for take in takes}
        try:
            while waiting:
                done = len(takes) - len(waiting)
                progress(done / len(takes), f"{done} of {len(takes)} done by {self.count} workers")
                if self._list_workers():
                    seen = time.monotonic()
                elif time.monotonic() - seen > MOST_AWAY_S:
                    raise EngineError(f"all workers are gone; what was whole by then is kept. {_CURE}")
                with contextlib.suppress(TimeoutError):
                    wait(list(waiting), TOLD_EVERY_S, "FIRST_COMPLETED")
                for future in [future for future in waiting if future.done()]:
                    take = waiting.pop(future)
                    try:
                        yield future.result()
                    except KilledWorker:
                        raise EngineError(_tell_death(take)) from None
        finally:
            self._client.cancel(list(waiting))


def _tell_death(take: Take) -> str:
    return f"a worker died while it computed {take.words}; what was whole by then is kept. {_CURE}"


def list_cards() -> list[str]:
    """Return the graphics cards that processes here may use, by the names that CUDA_VISIBLE_DEVICES takes."""
    if (visible := os.environ.get("CUDA_VISIBLE_DEVICES")) is not None:
        return [card for card in visible.split(",") if card]
    try:
        told = subprocess.run(["nvidia-smi", "-L"], capture_output=True, text=True, timeout=PATIENT_S).stdout
    except (OSError, subprocess.TimeoutExpired):
        return []
    return [str(number) for number in range(len(re.findall("^GPU ", told, re.MULTILINE)))]


def _prepare(device: str, card: str | None) -> tuple[str, str]:
    """In a worker: start the engine, on one graphics card where named; return edition and variant."""
    from ..engine import start

    # The driver reads it when the engine starts.
    if card is not None:
        os.environ["CUDA_VISIBLE_DEVICES"] = card
    with _ENGINE:
        return edition(), start(device).variant


def _compute_in_worker(take: Take, threads: int | None) -> str:
    """In a worker: compute a take on so many cores, or as many as the worker has."""
    from distributed import get_worker

    from ..engine import limit_threads

    limit_threads(threads or get_worker().state.nthreads)
    return compute_take(take)


def _quiet_worker(distributed):
    """Return what makes workers here leave Ctrl-C to the process that started them."""

    class Quiet(distributed.WorkerPlugin):
        name = "quiet"

        def setup(self, worker):
            signal.signal(signal.SIGINT, signal.SIG_IGN)

    return Quiet()


def import_dask():
    """Return the modules `dask` and `distributed`.

    Raises
    ------
    PersonError
        They are not installed.
    """
    try:
        import dask
        import distributed
    except ImportError:
        text = "--workers and --scheduler need Dask, which is not installed. Cure: "
        raise PersonError(text + CLUSTER_CURE) from None
    return dask, distributed
