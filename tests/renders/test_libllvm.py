"""The choice of an LLVM library, against libraries made for the purpose and the real one."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from brimcast.renders import libllvm
from brimcast.renders.libllvm import Library

VERSIONED = """
void LLVMGetVersion(unsigned *major, unsigned *minor, unsigned *patch) {
    *major = %d; *minor = 1; *patch = 2;
}
"""


@pytest.fixture
def make_library(tmp_path, monkeypatch):
    """A function that makes a shared library telling a version (None: telling none)."""
    told = {}
    compiler = shutil.which("cc")
    run_child = libllvm.run_child

    def answer(code, arguments=(), **options):
        if arguments and arguments[0] in told:
            version = told[arguments[0]]
            if version is None:
                return subprocess.CompletedProcess([], 1, "", "it does not tell its version")
            return subprocess.CompletedProcess([], 0, f"{version} 1 2\n", "")
        return run_child(code, arguments, **options)

    if not compiler:
        monkeypatch.setattr(libllvm, "run_child", answer)

    def make(name, version):
        path = tmp_path / name
        if compiler:
            source = tmp_path / f"{name}.c"
            source.write_text("int nothing;" if version is None else VERSIONED % version)
            subprocess.run([compiler, "-shared", "-fPIC", "-o", path, source], check=True)
        else:
            path.write_text(f"stands for LLVM {version}")
            told[str(path)] = version
        return Library(str(path), "the test")

    return make


@pytest.fixture
def offer(monkeypatch):
    """A function that says what the Python package and the system offer."""
    monkeypatch.delenv(libllvm.VARIABLE, raising=False)

    def set_offer(wheel=None, system=()):
        monkeypatch.setattr(libllvm, "wheel_library", lambda: wheel)
        monkeypatch.setattr(libllvm, "system_libraries", lambda: list(system))

    return set_offer


def test_file_that_is_no_library_is_refused_with_the_loaders_words(tmp_path, offer):
    path = tmp_path / "libLLVM.so"
    path.write_text("not a library")
    offer(system=[Library(str(path), "the system")])
    choice = libllvm.choose()
    assert choice.library is None
    assert choice.reason == "no LLVM library that was found can be used"
    assert len(choice.refusals) == 1
    assert str(path) in choice.refusals[0]


def test_library_without_a_version_is_refused_as_too_old(make_library, offer):
    offer(system=[make_library("libLLVM-14.so", None)])
    choice = libllvm.choose()
    assert choice.library is None
    assert "does not tell its version" in choice.refusals[0]


@pytest.mark.parametrize("version, accepted", [(15, False), (16, False), (17, True), (23, True)])
def test_versions_that_end_the_process_are_refused(make_library, offer, version, accepted):
    library = make_library("libLLVM.so", version)
    offer(system=[library])
    choice = libllvm.choose()
    assert choice.library == (library if accepted else None)
    if accepted:
        assert choice.version == f"{version}.1.2"
    else:
        assert f"{version}.1.2 is older than 17" in choice.refusals[0]


def test_newest_accepted_library_of_the_system_is_taken(make_library, offer):
    libraries = [make_library(f"libLLVM-{version}.so", version) for version in (18, 22, 15, 17)]
    offer(system=libraries)
    assert libllvm.choose().library == libraries[1]


def test_library_of_the_python_package_goes_before_a_newer_one_of_the_system(make_library, offer):
    wheel, system = make_library("wheel.so", 21), make_library("system.so", 23)
    offer(wheel=wheel, system=[system])
    assert libllvm.choose().library == wheel


def test_system_stands_in_for_a_broken_python_package(make_library, offer):
    system = make_library("system.so", 22)
    offer(wheel=Library("/nowhere/libLLVM.so.23.1", "the Python package"), system=[system])
    choice = libllvm.choose()
    assert choice.library == system
    assert "no such file" in choice.refusals[0]


def test_variable_goes_first(make_library, offer, monkeypatch):
    named = make_library("named.so", 19)
    offer(wheel=make_library("wheel.so", 23))
    monkeypatch.setenv(libllvm.VARIABLE, named.path)
    choice = libllvm.choose()
    assert (choice.library.path, choice.version) == (named.path, "19.1.2")
    assert libllvm.VARIABLE in choice.reason


def test_variable_that_names_nonsense_leaves_no_library(make_library, offer, monkeypatch):
    offer(wheel=make_library("wheel.so", 23), system=[make_library("system.so", 23)])
    monkeypatch.setenv(libllvm.VARIABLE, "/nowhere/libLLVM.so")
    choice = libllvm.choose()
    assert choice.library is None
    assert libllvm.VARIABLE in choice.reason
    assert len(choice.refusals) == 1


def test_variable_that_names_the_packages_own_file_keeps_what_it_needs(make_library, offer, monkeypatch):
    made = make_library("wheel.so", 23)
    wheel = Library(made.path, "the Python package", (make_library("libc++.so.1.0", None).path,))
    offer(wheel=wheel)
    monkeypatch.setenv(libllvm.VARIABLE, wheel.path)
    assert libllvm.choose().library == wheel


def test_nothing_found_is_said(offer):
    offer()
    choice = libllvm.choose()
    assert (choice.library, choice.reason, choice.refusals) == (None, "no LLVM library was found", ())


def test_untried_version_has_to_render_first(make_library, offer, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    offer(system=[make_library("libLLVM-24.so", libllvm.NEWEST_TRIED_VERSION + 1)])
    choice = libllvm.choose()
    assert choice.library is None
    assert "failed a trial render" in choice.refusals[0]


def test_untried_version_that_renders_is_taken_and_remembered(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    memory = tmp_path / "probes.json"
    real = libllvm.choose(memory).library
    major = int(libllvm.choose(memory).version.split(".")[0])
    monkeypatch.setattr(libllvm, "NEWEST_TRIED_VERSION", major - 1)
    assert libllvm.choose(memory).library == real

    def refuse(*arguments, **options):
        raise AssertionError("a child ran although everything is known")

    monkeypatch.setattr(libllvm, "run_child", refuse)
    assert libllvm.choose(memory).library == real


def test_changed_file_is_probed_again(make_library, tmp_path):
    memory = tmp_path / "cache" / "probes.json"
    library = make_library("libLLVM.so", 18)
    assert libllvm.probe(library, memory) == ((18, 1, 2), "")
    changed = make_library("newer.so", 20)
    os.replace(changed.path, library.path)
    assert libllvm.probe(library)[0] != (18, 1, 2)
    assert libllvm.probe(library, memory) == libllvm.probe(library)


def test_damaged_memory_is_no_obstacle(make_library, tmp_path):
    memory = tmp_path / "probes.json"
    library = make_library("libLLVM.so", 18)
    for damage in ("{", "[]", '{"a": 1}'):
        memory.write_text(damage)
        assert libllvm.probe(library, memory) == ((18, 1, 2), "")


def test_loaders_list_is_read_each_real_file_once(tmp_path, monkeypatch):
    real = tmp_path / "libLLVM.so.18.1"
    real.touch()
    link = tmp_path / "libLLVM-18.so"
    link.symlink_to(real)
    ldconfig = tmp_path / "ldconfig"
    ldconfig.write_text(
        "#!/bin/sh\n"
        "echo '2 libs found in cache'\n"
        f"echo '\tlibLLVM-18.so (libc6,x86-64) => {link}'\n"
        f"echo '\tlibLLVM.so.18.1 (libc6,x86-64) => {real}'\n"
        "echo '\tlibLTO.so.18.1 (libc6,x86-64) => /usr/lib/libLTO.so.18.1'\n"
    )
    ldconfig.chmod(0o755)
    monkeypatch.setattr(libllvm.sys, "platform", "linux")
    monkeypatch.setattr(libllvm.shutil, "which", lambda *place, **more: str(ldconfig))
    assert libllvm.system_libraries() == [Library(str(real), "the system")]


@pytest.mark.skipif(libllvm.wheel_library() is None, reason=f"{libllvm.WHEEL} exists for Linux x86-64 only")
def test_package_library_opens_where_its_links_could_not_be_made(tmp_path):
    """In a read-only install ``libc++.so.1`` is missing; the real files opened first make up for it."""
    wheel = libllvm.wheel_library()
    moved = []
    for path in (wheel.path, *wheel.preloads):
        moved.append(tmp_path / Path(path).name)
        moved[-1].symlink_to(path)
    library = Library(str(moved[0]), "the test", tuple(map(str, moved[1:])))
    version, fault = libllvm.probe(library)
    assert fault == ""
    assert version >= (libllvm.MINIMUM_VERSION,)
    assert len(library.preloads) == 3
