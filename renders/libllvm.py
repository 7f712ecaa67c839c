"""The choice of the LLVM library that compiles for the CPU.

Dr.Jit opens whatever ``libLLVM`` it finds when it is first imported, and some
of them end the whole process in the middle of a render (15 and 16, seen with
Dr.Jit 1.5 in 2026; 14 is refused; 17 to 23 each rendered correctly). So a
library is opened in a child process first, and only an accepted one is named
to Dr.Jit. This module imports neither mitsuba nor drjit.
"""

import ctypes
import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from .caches import file_state, kernel_folder, recall, remember

VARIABLE = "DRJIT_LIBLLVM_PATH"
WHEEL = "karellen-llvm-core"
MINIMUM_VERSION = 17
NEWEST_TRIED_VERSION = 23

# Dr.Jit's own way of opening a library: by path, the version asked through the C interface.
_PROBE = """
import ctypes, sys
for path in sys.argv[2:]:
    ctypes.CDLL(path)
library = ctypes.CDLL(sys.argv[1])
if not hasattr(library, "LLVMGetVersion"):
    sys.exit("it does not tell its version, so it is no LLVM or older than 16")
parts = [ctypes.c_uint() for _ in range(3)]
library.LLVMGetVersion(*map(ctypes.byref, parts))
print(*(part.value for part in parts))
"""

_TRIAL = """
import ctypes, sys
for path in sys.argv[1:]:
    ctypes.CDLL(path)
import mitsuba as mi
mi.set_variant("llvm_ad_spectral")
scene = mi.cornell_box()
scene["sensor"]["film"].update(width=8, height=8)
image = mi.render(mi.load_dict(scene), spp=4).numpy()
sys.exit(0 if 0 < image.mean() < 10 else "it rendered a wrong picture")
"""


@dataclass(frozen=True)
class Library:
    """A candidate: its path, who named it, and what has to be opened before it."""

    path: str
    origin: str
    preloads: tuple[str, ...] = ()


@dataclass(frozen=True)
class Choice:
    """The accepted library, or none.

    Parameters
    ----------
    library : Library or None
        None when nothing was accepted.
    version : str
        Such as ``23.1.4``; empty without a library.
    reason : str
        Why this library, or why none.
    refusals : tuple of str
        What else was looked at and why it was refused.
    """

    library: Library | None
    version: str
    reason: str
    refusals: tuple[str, ...] = ()


def choose(memory=None):
    """Return the LLVM library to use on this machine.

    In order: the file that ``DRJIT_LIBLLVM_PATH`` names, and then no other; the
    one of the Python package karellen-llvm-core; those of the system, newest first.

    Parameters
    ----------
    memory : pathlib.Path, optional
        JSON file that keeps what was found out, by real path, size and time.

    Returns
    -------
    Choice
    """
    named, wheel = os.environ.get(VARIABLE), wheel_library()
    if named and not (wheel and _same_file(wheel.path, named)):
        sources = [lambda: [Library(named, f"the variable {VARIABLE}")]]
    else:
        # Also when a parent process has already named the wheel's own file.
        sources = [lambda: [wheel] if wheel else [], system_libraries]

    refusals = []
    for source in sources:
        probed = [(library, *probe(library, memory)) for library in source()]
        for library, version, fault in sorted(probed, key=lambda entry: entry[1], reverse=True):
            fault = fault or _refusal(library, version, memory)
            if not fault:
                text = ".".join(map(str, version))
                return Choice(library, text, f"LLVM {text} from {library.origin}", tuple(refusals))
            refusals.append(f"{library.path} (from {library.origin}): {fault}")
    if named:
        reason = f"the file that {VARIABLE} names cannot be used, and no other is tried while it is set"
    elif refusals:
        reason = "no LLVM library that was found can be used"
    else:
        reason = "no LLVM library was found"
    return Choice(None, "", reason, tuple(refusals))


def wheel_library():
    """Return the library of the package karellen-llvm-core, or None where it is not installed."""
    try:
        files = importlib.metadata.distribution(WHEEL).files or ()
    except importlib.metadata.PackageNotFoundError:
        return None
    paths = {file.name: str(file.locate().resolve()) for file in files}
    names = [name for name in paths if name.startswith("libLLVM.so.")]
    if not names:
        return None
    # The package makes the link libc++.so.1 when Python next starts, which fails in a
    # read-only folder; opened by their real names first, the three need no link.
    needed = ("libunwind.so.1.0", "libc++abi.so.1.0", "libc++.so.1.0")
    return Library(
        paths[names[0]],
        f"the Python package {WHEEL}",
        tuple(paths[name] for name in needed if name in paths and Path(paths[name]).exists()),
    )


def system_libraries():
    """Return the LLVM libraries of the system, each real file once.

    Linux: the loader's list. macOS: Homebrew's ``llvm``. Windows: LLVM's
    installer. The last two have not been tried on such a machine.
    """
    if sys.platform == "darwin":
        roots = (Path("/opt/homebrew/opt"), Path("/usr/local/opt"))
        paths = [path for root in roots for path in sorted(root.glob("llvm*/lib/libLLVM.dylib"))]
        origin = "Homebrew"
    elif sys.platform == "win32":
        folder = Path(os.environ.get("ProgramFiles", r"C:\Program Files"), "LLVM", "bin")
        paths = [path for path in [folder / "LLVM-C.dll"] if path.exists()]
        origin = "LLVM's installer"
    else:
        ldconfig = shutil.which("ldconfig") or shutil.which("ldconfig", path="/sbin:/usr/sbin")
        listed = subprocess.run([ldconfig, "-p"], capture_output=True, text=True) if ldconfig else None
        found = re.findall(r"^\s*libLLVM[-.\w]*\s.*=> (\S+)$", listed.stdout if listed else "", re.MULTILINE)
        paths = [Path(path) for path in found]
        origin = "the system"
    real = dict.fromkeys(os.path.realpath(path) for path in paths)
    return [Library(path, origin) for path in real]


def probe(library, memory=None):
    """Return the version of a library, opened in a child process, and what is wrong with it.

    Parameters
    ----------
    library : Library
    memory : pathlib.Path, optional
        As for `choose`.

    Returns
    -------
    version : tuple of int
        Empty when it could not be told.
    fault : str
        Empty when the library opened and told its version.
    """
    if not Path(library.path).is_file():
        return (), "there is no such file"
    state = file_state(library.path)
    known = recall(memory, state).get("version")
    if known:
        return tuple(known), ""
    done = run_child(_PROBE, [library.path, *library.preloads], isolated=True)
    if done.returncode:
        return (), last_line(done.stderr) or f"opening it ended the process ({done.returncode})"
    version = tuple(int(part) for part in done.stdout.split())
    remember(memory, state, version=version)
    return version, ""


def preload(library):
    """Open in this process what the library needs and may not find by itself."""
    for path in library.preloads:
        ctypes.CDLL(path)


def run_child(code, arguments=(), isolated=False, environment=None):
    """Return the finished child process of this Python that ran some code (two minutes at most)."""
    flags = ["-I", "-S"] if isolated else []
    command = [sys.executable, *flags, "-c", code, *arguments]
    try:
        return subprocess.run(
            command, capture_output=True, text=True, timeout=120, env={**os.environ, **(environment or {})}
        )
    except subprocess.TimeoutExpired:
        return subprocess.CompletedProcess(command, 1, "", "no answer within two minutes")


def last_line(text):
    """Return the last line that is not empty, or ''."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return lines[-1] if lines else ""


def _refusal(library, version, memory):
    """Return why a library of this version is not used, or ''."""
    major = version[0]
    if major < MINIMUM_VERSION:
        text = ".".join(map(str, version))
        return f"version {text} is older than {MINIMUM_VERSION}, and such versions can end the process"
    state, renderer = file_state(library.path), importlib.metadata.version("drjit")
    if major <= NEWEST_TRIED_VERSION or recall(memory, state).get("rendered_by_drjit") == renderer:
        return ""
    # A version that nobody has tried yet has to render something first.
    places = {VARIABLE: library.path, "DRJIT_CACHE_DIR": str(kernel_folder())}
    done = run_child(_TRIAL, library.preloads, environment=places)
    if done.returncode:
        return f"version {major} failed a trial render: {last_line(done.stderr) or done.returncode}"
    remember(memory, state, rendered_by_drjit=renderer)
    return ""


def _same_file(one, other):
    return os.path.realpath(one) == os.path.realpath(other)
