"""The cache folder: where it is, how large, and what cleaning leaves alone."""

import json
from pathlib import Path

import pytest

from brimcast.renders import caches, frames


@pytest.fixture
def root(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("DRJIT_CACHE_DIR", raising=False)
    return tmp_path / "cache" / "brimcast"


def write(path, size_bytes):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(bytes(size_bytes))


def test_folder_follows_the_xdg_specification(root, monkeypatch):
    """XDG Base Directory Specification 0.8: default ~/.cache, paths that are not absolute are ignored."""
    assert caches.cache_root() == root
    for ignored in ("", "relative/cache"):
        monkeypatch.setenv("XDG_CACHE_HOME", ignored)
        assert caches.cache_root() == Path.home() / ".cache" / "brimcast"


def test_sizes_are_those_of_the_files(root):
    write(root / "kernels" / "a.bin", 100)
    write(root / "kernels" / "deep" / "b.bin", 20)
    write(root / "renders" / "c.npz", 3)
    folders = [(folder.name, folder.size_bytes, folder.files) for folder in caches.cache_folders()]
    assert folders == [("kernels", 120, 2), ("renders", 3, 1)]


def test_nothing_cached_yet_is_an_empty_kernel_folder(root):
    (folder,) = caches.cache_folders()
    assert (folder.path, folder.size_bytes, folder.files) == (root / "kernels", 0, 0)
    assert caches.clean_caches() == 0


def test_cleaning_frees_what_it_says_and_stays_inside(root, tmp_path, monkeypatch):
    own = tmp_path / "own kernels"
    monkeypatch.setenv("DRJIT_CACHE_DIR", str(own))
    write(own / "mine.bin", 50)
    write(root / "renders" / "c.npz", 30)
    write(root / "probes.json", 4)
    (root / "elsewhere").symlink_to(own)
    assert caches.cache_folders()[0].path == own

    assert caches.clean_caches() == 34
    assert list(root.iterdir()) == []
    assert (own / "mine.bin").stat().st_size == 50


def test_memory_keeps_facts_apart_by_key(tmp_path):
    memory = tmp_path / "new" / "probes.json"
    caches.remember(memory, "one", version=[17, 0, 0])
    caches.remember(memory, "two", traces=True)
    caches.remember(memory, "one", rendered=True)
    assert caches.recall(memory, "one") == {"version": [17, 0, 0], "rendered": True}
    assert caches.recall(memory, "two") == {"traces": True}
    assert caches.recall(memory, "three") == {}
    # One whole file, no leftovers of writing it.
    assert [path.name for path in memory.parent.iterdir()] == ["probes.json"]
    assert set(json.loads(memory.read_text())) == {"one", "two"}


def test_memory_without_a_place_forgets(tmp_path):
    blocked = tmp_path / "file"
    blocked.touch()
    caches.remember(blocked / "probes.json", "one", version=1)
    assert caches.recall(blocked / "probes.json", "one") == {}
    assert caches.recall(None, "one") == {}


def test_results_of_changed_code_have_another_edition(tmp_path, monkeypatch):
    """The version stays the same all the time between two releases."""
    (tmp_path / "tables").mkdir()
    code, table = tmp_path / "code.py", tmp_path / "tables" / "index.csv"
    digests = []
    for first, second in (("1", "1.33"), ("2", "1.33"), ("2", "1.34")):
        code.write_text(first)
        table.write_text(second)
        digests.append(caches.digest_code([tmp_path]))
    table.rename(tmp_path / "tables" / "other.csv")
    digests.append(caches.digest_code([tmp_path]))
    assert len(set(digests)) == 4
    (tmp_path / "code.pyc").write_text("not code that is read")
    assert caches.digest_code([tmp_path]) == digests[-1]
    names = frames.name_frames("a", 1, "draft", "llvm", False)
    monkeypatch.setattr(frames, "edition", lambda: "another")
    assert not set(names) & set(frames.name_frames("a", 1, "draft", "llvm", False))
