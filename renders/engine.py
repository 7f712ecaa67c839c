"""The engine that traces the light: which device, which compiler, which caches.

The only place that sets Mitsuba's variant. Dr.Jit reads its variables when it is
first imported, so the modules of this package take both from here::

    from .engine import dr, mi

which names a tried LLVM library and the cache folder first. `start` then
picks the device; it has to run before anything is traced.
"""

import ctypes
import importlib
import importlib.metadata
import importlib.util
import os
import platform
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from brimcast.shared.errors import EngineError

from . import libllvm
from .caches import cache_folders, cache_root, clean_caches, file_state, kernel_folder, recall, remember

__all__ = ["Engine", "about", "cache_folders", "clean_caches", "limit_threads", "prepare", "start"]

DEVICES = ("auto", "cpu", "gpu")
CPU_VARIANT = "llvm_ad_mono"
GPU_VARIANTS = ("cuda_ad_mono", "metal_ad_mono")
KERNEL_CACHE_BYTES = 1 << 30

# Short names under which the modules of this package import the two.
_MODULES = {"dr": "drjit", "mi": "mitsuba"}

# Ask the driver without Dr.Jit: a broken driver must not end this process.
_GPU_PROBE = """
import ctypes, sys
cuda = ctypes.CDLL(sys.argv[1])
count, device, version = ctypes.c_int(), ctypes.c_int(), ctypes.c_int()
name = ctypes.create_string_buffer(256)
for fault in (cuda.cuInit(0), cuda.cuDeviceGetCount(ctypes.byref(count))):
    if fault:
        sys.exit(f"the driver answers with error {fault}")
if not count.value:
    sys.exit("the driver lists no device")
cuda.cuDeviceGet(ctypes.byref(device), 0)
cuda.cuDeviceGetName(name, len(name), device)
print(name.value.decode())
try:
    with open("/proc/self/maps") as maps:
        print(next(line.split()[-1] for line in maps if "libcuda.so" in line))
except (OSError, StopIteration):
    cuda.cuDriverGetVersion(ctypes.byref(version))
    print(version.value)
"""

# One ray against one ball: a distance of 2 shows that tracing works there.
_GPU_TRIAL = """
import sys
import mitsuba as mi
mi.set_variant(sys.argv[1])
scene = mi.load_dict({"type": "scene", "ball": {"type": "sphere"}})
hit = scene.ray_intersect(mi.Ray3f([0, 0, -3], [0, 0, 1]))
sys.exit(0 if abs(hit.t.numpy()[0] - 2) < 1e-4 else "a ray missed")
"""


@dataclass(frozen=True)
class Engine:
    """What traces the light in this process.

    Parameters
    ----------
    variant : str
        Mitsuba's name for it.
    device : str
        ``cpu`` or ``gpu``.
    device_name : str
        As the machine names it.
    llvm_path, llvm_version : str
        Empty when no LLVM library was accepted; a graphics card needs none.
    reason : str
        Why this device and this library.
    notes : tuple of str
        What was found and not used, and why.
    """

    variant: str
    device: str
    device_name: str
    llvm_path: str
    llvm_version: str
    reason: str
    notes: tuple[str, ...] = ()


def __getattr__(name):
    """Import Dr.Jit (``dr``) and Mitsuba (``mi``) after their variables are set."""
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    prepare()
    try:
        return importlib.import_module(_MODULES[name])
    except ImportError as error:
        raise EngineError(_no_wheel(str(error))) from error


@cache
def prepare():
    """Choose the LLVM library and the cache folder, and name both to Dr.Jit.

    Imports neither Mitsuba nor Dr.Jit; what was found out is kept for the
    life of the process.

    Returns
    -------
    libllvm.Choice

    Raises
    ------
    EngineError
        Dr.Jit was imported before, so it has already taken a library by itself.
    """
    if "drjit" in sys.modules:
        raise EngineError(
            "Dr.Jit was imported before its LLVM library was chosen, and may end the program in a render. "
            "Cure: import it with: from brimcast.renders.engine import dr, mi"
        )
    os.environ["DRJIT_CACHE_DIR"] = str(kernel_folder())
    os.environ.setdefault("DRJIT_CACHE_MAXSIZE", str(KERNEL_CACHE_BYTES))
    # The driver caps its two caches by itself.
    os.environ.setdefault("OPTIX_CACHE_PATH", str(cache_root() / "optix"))
    os.environ.setdefault("CUDA_CACHE_PATH", str(cache_root() / "cuda"))
    try:
        kernel_folder().mkdir(parents=True, exist_ok=True)
    except OSError:
        pass  # Dr.Jit then compiles anew in each process; `about` shows an empty folder.
    choice = libllvm.choose(_memory())
    if choice.library:
        libllvm.preload(choice.library)
        os.environ[libllvm.VARIABLE] = choice.library.path
    return choice


def start(device="auto"):
    """Return the engine, started; a second call returns the one that runs.

    Parameters
    ----------
    device : str
        ``auto`` takes a graphics card when one works, else the processor.

    Returns
    -------
    Engine

    Raises
    ------
    EngineError
        Nothing here can trace, or another device already runs; with the cure.
    ValueError
        The device has another name.
    """
    if device not in DEVICES:
        raise ValueError(f"device {device!r} is unknown; use one of {', '.join(DEVICES)}")
    engine = _running.get("engine")
    if engine is None:
        engine = _running["engine"] = _start(device)
    if device not in ("auto", engine.device):
        raise EngineError(
            f"the {engine.device} engine already runs in this process; start another process for {device}"
        )
    return engine


def limit_threads(count):
    """Let the processor's engine take so many cores, where several processes share them."""
    __getattr__("dr").set_thread_count(count)


_running = {}


def _start(device):
    """Return the engine for a device after setting Mitsuba's variant."""
    if importlib.util.find_spec("mitsuba") is None:
        raise EngineError(_no_wheel("it is not installed"))
    choice = prepare()
    notes = list(choice.refusals)
    variant, name = None, ""
    if device in ("auto", "gpu"):
        variant, name, fault = _find_gpu()
        if fault:
            notes.append(f"graphics card not used: {fault}")
    if variant is None and device == "gpu":
        raise EngineError("\n".join(["no graphics card can be used here.", *notes, GPU_CURE]))
    if variant is None:
        if choice.library is None:
            raise EngineError("\n".join([f"{choice.reason}.", *notes, _cure()]))
        variant, name = CPU_VARIANT, _processor_name()
    _set_variant(variant, choice)
    on_gpu = variant in GPU_VARIANTS
    return Engine(
        variant=variant,
        device="gpu" if on_gpu else "cpu",
        device_name=name,
        llvm_path=choice.library.path if choice.library else "",
        llvm_version=choice.version,
        reason="a trial ray was traced on the graphics card" if on_gpu else choice.reason,
        notes=tuple(notes),
    )


def _set_variant(variant, choice):
    """Set Mitsuba's variant, or say what stands in the way."""
    mitsuba = __getattr__("mi")
    try:
        mitsuba.set_variant(variant)
    except (ImportError, RuntimeError, AttributeError) as error:
        found = choice.library.path if choice.library else "no LLVM library"
        raise EngineError(f"{variant} does not start with {found}: {error}\n{_cure()}") from error


def _find_gpu():
    """Return (variant, device name, '') of a graphics card that traces, or (None, '', why not)."""
    if sys.platform == "darwin":
        # Untried: no such machine was at hand.
        return _try_gpu("metal_ad_mono", f"{platform.machine()} graphics", platform.mac_ver()[0])
    library = os.environ.get("DRJIT_LIBCUDA_PATH") or (
        "nvcuda.dll" if sys.platform == "win32" else "libcuda.so.1"
    )
    try:
        ctypes.CDLL(library)
    except OSError:
        return None, "", "no NVIDIA driver is installed"
    asked = libllvm.run_child(_GPU_PROBE, [library], isolated=True)
    if asked.returncode:
        return None, "", libllvm.last_line(asked.stderr) or f"its driver ended the probe ({asked.returncode})"
    name, driver = asked.stdout.splitlines()
    return _try_gpu("cuda_ad_mono", name, file_state(driver) if Path(driver).exists() else driver)


def _try_gpu(variant, name, driver):
    """Return the same as `_find_gpu` after tracing one ray in a child process, once for each driver."""
    key = f"{variant}|{name}|{driver}|drjit {_version('drjit')}"
    if recall(_memory(), key).get("traces"):
        return variant, name, ""
    traced = libllvm.run_child(_GPU_TRIAL, [variant])
    if traced.returncode == 0:
        remember(_memory(), key, traces=True)
        return variant, name, ""
    why = libllvm.last_line(traced.stderr) or f"the trial ended with {traced.returncode}"
    return None, "", f"{name} does not trace: {why}"


def about(device="auto"):
    """Return what runs here, as (what, value) pairs ready to print.

    Never raises for a missing engine: it then says what is missing.
    """
    lines = [(package, _version(package)) for package in ("brimcast", "mitsuba", "drjit", libllvm.WHEEL)]
    lines.append(("machine", f"Python {platform.python_version()}, {sys.platform} {platform.machine()}"))
    try:
        engine = start(device)
    except EngineError as error:
        lines.append(("engine", f"none: {error}"))
        faster = "nothing traces yet"
    else:
        lines += [
            ("device", f"{engine.device}, {engine.device_name} ({engine.variant})"),
            ("why", engine.reason),
            ("LLVM", f"{engine.llvm_version} {engine.llvm_path}".strip() or "none"),
            ("threads", str(__getattr__("dr").thread_count())),
        ]
        lines += [("note", note) for note in engine.notes]
        faster = GPU_CURE if engine.device == "cpu" else "a newer graphics card"
    for folder in cache_folders():
        size = f"{folder.size_bytes / 1e6:.1f} MB in {folder.files} files"
        lines.append((f"cache {folder.name}", f"{folder.path} ({size})"))
    lines.append(("faster with", faster))
    return lines


# Speed: measured with this transport, November 2026, one H100 against two CPU cores.
GPU_CURE = (
    "an NVIDIA graphics card with driver 535 or newer (a data-centre card traced over 100 times as fast "
    "as two processor cores)"
)


def _memory():
    """Return the file that keeps what probing found out."""
    return cache_root() / "probes.json"


def _cure():
    """Return what a person can do on this system to get an LLVM library."""
    if sys.platform == "darwin":
        cure = "brew install llvm"
    elif sys.platform == "win32":
        cure = "install LLVM 17 or newer with the installer from llvm.org"
    else:
        cure = f"python -m pip install --force-reinstall {libllvm.WHEEL}, or install libllvm 17 or newer"
    return (
        f"Cure: {cure}; or name a libLLVM of version {libllvm.MINIMUM_VERSION} or newer "
        f"in {libllvm.VARIABLE}; or use {GPU_CURE}."
    )


def _no_wheel(why):
    """Return the message for a missing Mitsuba."""
    machine = platform.machine().lower()
    if (sys.platform, machine) in {("linux", "aarch64"), ("linux", "arm64"), ("darwin", "x86_64")}:
        kind = "Linux on aarch64" if sys.platform == "linux" else "a Mac with an Intel processor"
        return (
            f"Mitsuba has no package for {kind}. Cure: use Linux or Windows on x86-64, "
            "or a Mac with an Apple processor."
        )
    return f"Mitsuba cannot be imported: {why}. Cure: python -m pip install --force-reinstall mitsuba"


def _processor_name():
    """Return the processor's name with the number of its threads."""
    name = platform.processor() or platform.machine()
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                name = line.partition(":")[2].strip()
                break
    except OSError:
        pass
    return f"{name}, {os.cpu_count()} threads"


def _version(package):
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"
