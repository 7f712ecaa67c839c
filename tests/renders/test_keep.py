"""Output folders stay whole, and unfinished work is found again, whatever goes wrong."""

import os
import signal

import numpy as np
import pytest

from brimcast.renders import keep


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "brimcast" / "unfinished"


@pytest.fixture
def out(tmp_path):
    """An output folder with earlier files, and nothing beside it."""
    folder = tmp_path / "work" / "out"
    folder.mkdir(parents=True)
    (folder / "picture.png").write_text("old picture")
    (folder / "notes.txt").write_text("by hand")
    return folder


def contents(folder):
    return {
        str(path.relative_to(folder)): path.read_text()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


OLD = {"notes.txt": "by hand", "picture.png": "old picture"}


def interrupt():
    os.kill(os.getpid(), signal.SIGINT)


def test_new_files_replace_old_ones_and_the_rest_stays(out):
    with keep.replacing(out) as fresh:
        (fresh / "picture.png").write_text("new picture")
        (fresh / "maps").mkdir()
        (fresh / "maps" / "key.npz").write_text("map")
        assert contents(out) == OLD
    assert contents(out) == OLD | {"picture.png": "new picture", "maps/key.npz": "map"}
    assert os.listdir(out.parent) == ["out"]


def test_folder_that_was_not_there_appears_whole(tmp_path):
    folder = tmp_path / "a" / "b"
    with keep.replacing(folder) as fresh:
        (fresh / "one").write_text("1")
        assert not folder.exists()
    assert contents(folder) == {"one": "1"}
    assert folder.stat().st_mode & 0o777 == (folder.parent.stat().st_mode & 0o777)
    assert os.listdir(folder.parent) == ["b"]


@pytest.mark.parametrize("stop", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_failure_leaves_earlier_output_and_nothing_else(out, stop):
    with pytest.raises(stop), keep.replacing(out) as fresh:
        (fresh / "picture.png").write_text("half a pic")
        raise stop
    assert contents(out) == OLD
    assert os.listdir(out.parent) == ["out"]


def test_real_interrupt_while_writing_leaves_earlier_output(out):
    with pytest.raises(KeyboardInterrupt), keep.replacing(out) as fresh:
        (fresh / "picture.png").write_text("half a pic")
        interrupt()
    assert contents(out) == OLD
    assert os.listdir(out.parent) == ["out"]


def test_interrupt_while_moving_waits_until_all_is_moved(out, monkeypatch):
    moves = []

    def replace(source, target):
        moves.append(target)
        os.rename(source, target)
        interrupt()

    monkeypatch.setattr(keep.os, "replace", replace)
    with pytest.raises(KeyboardInterrupt), keep.replacing(out) as fresh:
        (fresh / "picture.png").write_text("new picture")
        (fresh / "table.png").write_text("new table")
    assert len(moves) == 2
    assert contents(out) == OLD | {"picture.png": "new picture", "table.png": "new table"}
    assert os.listdir(out.parent) == ["out"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.parametrize("links", [True, False])
def test_file_that_cannot_be_moved_takes_back_the_others(out, monkeypatch, links):
    if not links:

        def refuse(*_, **__):
            raise OSError("this disk has no links")

        monkeypatch.setattr(keep.os, "link", refuse)
    (out / "zzz").mkdir()
    (out / "zzz" / "kept").write_text("kept")
    with pytest.raises(IsADirectoryError, match="zzz"), keep.replacing(out) as fresh:
        (fresh / "a" / "b").mkdir(parents=True)
        (fresh / "a" / "b" / "first").write_text("new")
        (fresh / "picture.png").write_text("new picture")
        (fresh / "zzz").write_text("a file where a folder stands")
    assert contents(out) == OLD | {"zzz/kept": "kept"}
    assert not (out / "a").exists()
    assert os.listdir(out.parent) == ["out"]


def test_link_to_a_folder_stays_a_link(out, tmp_path):
    link = tmp_path / "link"
    link.symlink_to(out)
    with keep.replacing(link) as fresh:
        (fresh / "picture.png").write_text("new picture")
    assert link.is_symlink()
    assert (out / "picture.png").read_text() == "new picture"


def test_one_file_is_replaced_whole(out):
    path = out / "picture.png"
    with keep.replacing_file(path) as fresh:
        assert fresh.suffix == ".png" and fresh.parent == out
        fresh.write_text("new picture")
        assert path.read_text() == "old picture"
    assert contents(out) == OLD | {"picture.png": "new picture"}


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError])
def test_one_file_stays_as_it_was_on_failure(out, stop):
    with pytest.raises(stop), keep.replacing_file(out / "picture.png") as fresh:
        fresh.write_text("half")
        raise stop
    assert contents(out) == OLD


def test_one_file_stays_when_nothing_was_written(out):
    with pytest.raises(FileNotFoundError), keep.replacing_file(out / "picture.png"):
        pass
    assert contents(out) == OLD


def test_unfinished_work_is_found_again(cache):
    arrays = {"file": np.arange(6.0).reshape(2, 3), "batch": np.int64(4), "name": np.array("key")}
    assert keep.unfinished({"set": "a", "seed": 1}).save("lamp/key é", arrays)
    found = keep.unfinished({"seed": 1, "set": "a"}).load("lamp/key é")
    assert {name: array.tolist() for name, array in found.items()} == {
        name: array.tolist() for name, array in arrays.items()
    }
    assert found["file"].dtype == float
    assert keep.unfinished({"seed": 2, "set": "a"}).load("lamp/key é") is None
    assert keep.unfinished({"seed": 1, "set": "a"}).load("other") is None
    assert all(cache in path.parents for path in cache.rglob("*"))


def test_forgetting_removes_one_work_alone(cache):
    one, two = keep.unfinished("one"), keep.unfinished("two")
    for work in (one, two):
        work.save("a", {"x": np.zeros(10)})
    one.forget()
    one.forget()
    assert one.load("a") is None and not one.folder.exists()
    assert two.load("a") is not None


def test_damaged_files_never_stop_the_work(cache):
    work = keep.unfinished("work")
    arrays = {"x": np.arange(20.0)}
    work.save("a", arrays)
    (path,) = work.folder.iterdir()
    whole = path.read_bytes()
    # Cut short, or one bit turned, all along the file: the true arrays or nothing.
    for size in range(0, len(whole), 23):
        path.write_bytes(whole[:size])
        assert work.load("a") is None
    refused = 0
    places = range(0, len(whole), 3)
    for place in places:
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x10]) + whole[place + 1 :])
        found = work.load("a")
        refused += found is None
        assert found is None or found["x"].tolist() == arrays["x"].tolist()
    assert refused > len(places) / 2
    assert work.save("a", arrays) and work.load("a") is not None


def test_foreign_files_are_neither_read_nor_removed(cache):
    work = keep.unfinished("work")
    work.save("mine", {"x": np.zeros(3)})
    np.savez(work.folder / "strange.npz", x=np.zeros(3))
    np.save(work.folder / "plain.npy", np.zeros(3))
    (work.folder / "plain.npy").rename(work.folder / "plain.npz")
    other = keep.unfinished("other")
    other.save("theirs", {"x": np.zeros(3)})
    (other.folder / "theirs.npz").rename(work.folder / "theirs.npz")
    for name in ("strange", "plain", "theirs"):
        assert work.load(name) is None
    (work.folder / "readme.txt").write_text("mine")
    (cache / "elsewhere").mkdir()
    (cache / "elsewhere" / "own.npz").write_bytes(bytes(50_000))
    assert keep.unfinished("last", cap_bytes=1_000).save("a", {"x": np.zeros(3)})
    work.forget()
    assert (work.folder / "readme.txt").exists() and (cache / "elsewhere" / "own.npz").exists()


def test_oldest_goes_first_when_all_is_too_much(cache):
    array = {"x": np.zeros(1000)}
    for age, name in enumerate(("old", "middle", "young")):
        work = keep.unfinished(name, cap_bytes=30_000)
        assert work.save("a", array)
        os.utime(work.folder / "a.npz", (1000 + age, 1000 + age))
    assert keep.unfinished("newest", cap_bytes=30_000).save("a", array)
    kept = {name: keep.unfinished(name).load("a") for name in ("old", "middle", "young", "newest")}
    assert [name for name, found in kept.items() if found is None] == ["old"]
    assert sum(path.stat().st_size for path in cache.rglob("*.npz")) <= 30_000
    # What alone exceeds the cap is not kept and drives nothing out.
    assert not keep.unfinished("vast", cap_bytes=30_000).save("a", {"x": np.zeros(10_000)})
    assert keep.unfinished("newest").load("a") is not None


def test_cache_that_cannot_be_written_is_done_without(cache):
    cache.parent.parent.mkdir(parents=True)
    (cache.parent.parent / "brimcast").write_text("a file where the cache should be")
    work = keep.unfinished("work")
    assert work.save("a", {"x": np.zeros(3)}) is False
    assert work.load("a") is None
    work.forget()


def test_objects_are_refused(cache):
    with pytest.raises(ValueError, match="[Oo]bject"):
        keep.unfinished("work").save("a", {"x": np.array([{}])})
