"""The rules of the layout: who imports what, what stays flat, and that the documented examples run."""

import ast
import doctest
import importlib
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# Each may import itself and those before it.
PACKAGES = ("shared", "vessels", "scene", "renders", "scripts")
# Packages inside a package; each belongs to it, and no module beside it may need one.
NESTED = ("renders/answers",)
ENGINE = {"mitsuba", "drjit"}
SLOW_TO_IMPORT = ENGINE | {"scipy", "trimesh", "shapely", "manifold3d"}
MOST_LINES = 400


def list_modules(package):
    return sorted((ROOT / package).glob("*.py"))


def list_sources():
    return [path for package in (*PACKAGES, *NESTED) for path in list_modules(package)]


def package_of(path):
    """Return the names that lead to a source file's folder, such as ('renders', 'answers')."""
    names = path.parent.parts
    return names[-2:] if "/".join(names[-2:]) in NESTED else names[-1:]


def list_tests():
    return sorted((ROOT / "tests").rglob("*.py"))


def name_module(path):
    """Return the name under which a source file is imported."""
    stem = () if path.stem == "__init__" else (path.stem,)
    return ".".join(("brimcast", *package_of(path), *stem))


def list_imports(path):
    """Return (line, absolute module name) of each import, relative ones resolved, inside functions too."""
    package = ("brimcast", *package_of(path))
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else ()
            module = ".".join((*base, *([node.module] if node.module else [])))
            # `from brimcast import scene` names its package only here.
            found += [(node.lineno, f"{module}.{alias.name}") for alias in node.names]
    return found


def show(path, line, text):
    return f"{path.relative_to(ROOT)}:{line}: {text}"


def test_packages_are_those_that_the_project_file_lists():
    with (ROOT / "pyproject.toml").open("rb") as file:
        setuptools = tomllib.load(file)["tool"]["setuptools"]
    folders = {f"brimcast.{package.replace('/', '.')}": package for package in (*PACKAGES, *NESTED)}
    assert setuptools["packages"] == list(folders)
    assert setuptools["package-dir"] == folders


@pytest.mark.parametrize("package", PACKAGES)
def test_packages_are_flat(package):
    """A sub-package works here and is missing from the wheel."""
    folder = ROOT / package
    assert (folder / "__init__.py").is_file()
    assert (folder / "py.typed").is_file()
    own = {folder, *(ROOT / nested for nested in NESTED)}
    assert [path for path in folder.rglob("*.py") if path.parent not in own] == []


@pytest.mark.parametrize("nested", NESTED)
def test_no_module_needs_a_package_inside_its_own(nested):
    above, name = nested.split("/")
    taken = f"brimcast.{above}.{name}"
    faults = [
        show(path, line, found)
        for path in list_modules(above)
        for line, found in list_imports(path)
        if found.startswith(taken)
    ]
    assert faults == []


def test_tests_have_no_packages_and_names_of_their_own():
    names = [path.name for path in list_tests() if path.name != "conftest.py"]
    assert "__init__.py" not in names
    assert sorted(names) == sorted(set(names))


def test_no_folder_is_imported_by_its_bare_name():
    """From the root ``import scene`` works, and makes a second copy of the module."""
    faults = [
        show(path, line, name)
        for path in list_sources() + list_tests()
        for line, name in list_imports(path)
        if name.split(".")[0] in PACKAGES
    ]
    assert faults == []


def test_packages_import_only_those_before_them():
    faults = []
    for path in list_sources():
        package = package_of(path)[0]
        rank = PACKAGES.index(package)
        for line, name in list_imports(path):
            parts = name.split(".")
            if parts[0] == "brimcast" and (len(parts) < 2 or parts[1] not in PACKAGES[: rank + 1]):
                faults.append(show(path, line, f"{package} imports {name}"))
    assert faults == []


def test_only_the_engine_imports_mitsuba_and_dr_jit():
    """Dr.Jit opens a library when it is imported, and the engine has to have chosen it by then."""
    faults = [
        show(path, line, f"imports {name}; use: from .engine import dr, mi")
        for path in list_sources()
        for line, name in list_imports(path)
        if name.split(".")[0] in ENGINE
    ]
    assert faults == []


def test_only_renders_takes_mitsuba_and_dr_jit_from_the_engine():
    taken = {"brimcast.renders.engine.dr", "brimcast.renders.engine.mi"}
    faults = [
        show(path, line, name)
        for path in list_sources()
        for line, name in list_imports(path)
        if package_of(path) != ("renders",) and name in taken
    ]
    assert faults == []


def test_modules_stay_short():
    lengths = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in list_sources()}
    faults = [show(path, length, "lines") for path, length in lengths.items() if length > MOST_LINES]
    assert faults == []


def test_import_rules_can_see_every_way_of_importing(tmp_path):
    """The rules above are only as good as what `list_imports` finds."""
    folder = tmp_path / "scene"
    folder.mkdir()
    path = folder / "probe.py"
    path.write_text(
        "import drjit as dr\n"
        "from mitsuba import render\n"
        "from ..renders import engine\n"
        "from . import lamps\n"
        "from .gels import read\n"
        "from brimcast import scripts\n"
        "def late():\n"
        "    import scene.lamps\n"
    )
    assert [name for _, name in sorted(list_imports(path))] == [
        "drjit",
        "mitsuba.render",
        "brimcast.renders.engine",
        "brimcast.scene.lamps",
        "brimcast.scene.gels.read",
        "brimcast.scripts",
        "scene.lamps",
    ]


def test_documented_examples_run():
    documented = [path for path in list_sources() if ">>> " in path.read_text(encoding="utf-8")]
    failed, attempted = [], 0
    for path in documented:
        results = doctest.testmod(importlib.import_module(name_module(path)))
        attempted += results.attempted
        if results.failed or not results.attempted:
            failed.append(name_module(path))
    assert failed == []
    assert attempted or not documented


def test_reading_a_set_needs_no_slow_library():
    """Commands that trace nothing (help, checking a set) have to answer at once."""
    modules = ["brimcast.shared.quantity", "brimcast.scene.setfile", "brimcast.scene.materials"]
    modules += [name_module(path) for path in list_modules("scripts")]
    code = (
        "import importlib, json, sys\n"
        "for name in sys.argv[1:]:\n"
        "    importlib.import_module(name)\n"
        "print(json.dumps(sorted({name.partition('.')[0] for name in sys.modules})))\n"
    )
    done = subprocess.run([sys.executable, "-c", code, *modules], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert SLOW_TO_IMPORT & set(json.loads(done.stdout)) == set()


def test_engine_is_imported_without_mitsuba():
    """The library has to be chosen before; see `brimcast.renders.engine.prepare`."""
    code = "import json, sys; import brimcast.renders.engine; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert ENGINE & set(json.loads(done.stdout)) == set()
