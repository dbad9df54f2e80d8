import contextlib
import os
import random
import subprocess
import sys
import time

import pytest

from tautline.deliver import atomic
from tautline.deliver.atomic import replacing, replacing_folder, write_text
from tautline.errors import OutputError


def test_the_old_file_stays_whole_when_writing_stops_half_way(tmp_path):
    target = tmp_path / "result.txt"
    write_text(target, "old")

    def half():
        with replacing(target) as draft:
            draft.write_text("ha")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["result.txt"]


def test_a_folder_in_the_way_is_named(tmp_path):
    (tmp_path / "result.txt").mkdir()
    with pytest.raises(OutputError, match=r"result\.txt"):
        write_text(tmp_path / "result.txt", "new")


def test_a_file_where_a_folder_should_be_is_named(tmp_path):
    (tmp_path / "out").write_text("")
    with pytest.raises(OutputError, match="choose another place"):
        write_text(tmp_path / "out" / "result.txt", "new")


def test_a_full_disk_is_told(tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_text(tmp_path / "result.txt", "new")
    assert list(tmp_path.iterdir()) == []


WRITER = """
import sys
from pathlib import Path
from tautline.deliver.atomic import replacing_folder, write_text
target, kind = Path(sys.argv[1]), sys.argv[2]
print("ready", flush=True)
while True:
    for letter in "ab":
        if kind == "file":
            write_text(target, letter * 3_000_000)
        else:
            with replacing_folder(target) as draft:
                for name in ("one", "two", "three"):
                    (draft / name).write_text(letter * 100_000)
"""


def killed(target, kind, wait):
    """Let a program write over and over, and kill it."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(target), kind], stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout.readline() == "ready\n"
    time.sleep(wait)
    writer.kill()
    writer.communicate()


def hidden(folder):
    return [p.name for p in folder.iterdir() if p.name.startswith(".")]


def test_a_kill_at_any_moment_leaves_a_whole_file_and_the_next_writer_clears_up(tmp_path):
    target, left = tmp_path / "result.txt", 0
    write_text(target, "a")
    for k in range(6):
        killed(target, "file", random.uniform(0.0, 0.03 * (k + 1)))
        found = target.read_text()
        assert found == "a" or (len(found) == 3_000_000 and found in ("a" * 3_000_000, "b" * 3_000_000))
        left += len(hidden(tmp_path))
        write_text(target, "a")
        assert hidden(tmp_path) == []
    assert left  # or nothing was ever stopped half way


def test_a_kill_at_any_moment_leaves_a_whole_folder(tmp_path):
    target = tmp_path / "tables"
    with replacing_folder(target) as draft:
        (draft / "one").write_text("a")
    (target / "mine").write_text("kept")
    for _ in range(6):
        killed(target, "folder", random.uniform(0.0, 0.03))
        if sys.platform != "linux":
            # the one moment without a folder is made up for by the next writer
            with contextlib.suppress(ZeroDivisionError), replacing_folder(target):
                _ = 1 / 0
        texts = {
            name: (target / name).read_text() for name in ("one", "two", "three") if (target / name).exists()
        }
        assert list(texts) in (["one"], ["one", "two", "three"])
        assert len(set(texts.values())) == 1
        assert texts["one"] == "a" or len(texts["one"]) == 100_000
        assert (target / "mine").read_text() == "kept"
    with replacing_folder(target) as draft:
        (draft / "one").write_text("a")
    assert hidden(tmp_path) == []


def test_a_folder_that_fails_half_way_stays_as_it_was(tmp_path):
    target = tmp_path / "tables"
    with replacing_folder(target) as draft:
        (draft / "one").write_text("old")

    def half():
        with replacing_folder(target) as draft:
            (draft / "one").write_text("new")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert (target / "one").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["tables"]


@pytest.mark.parametrize("at_once", [True, False])
def test_a_system_that_cannot_exchange_folders_moves_the_old_one_aside(tmp_path, monkeypatch, at_once):
    if not at_once:
        monkeypatch.setattr(atomic, "_exchange", lambda one, other: False)
    target = tmp_path / "tables"
    for text in ("old", "new"):
        with replacing_folder(target) as draft:
            (draft / "one").write_text(text)
            (draft / text).write_text("")
    assert (target / "one").read_text() == "new"
    # what has no successor may be somebody's own
    assert sorted(p.name for p in target.iterdir()) == ["new", "old", "one"]
    assert [p.name for p in tmp_path.iterdir()] == ["tables"]


def test_a_folder_killed_between_two_moves_is_put_back(tmp_path):
    """What such a kill leaves: no folder, the old one in the hidden folder of a process that is gone."""
    target = tmp_path / "tables"
    gone = subprocess.run(
        [sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True
    )
    left = tmp_path / f"{atomic._hidden(target)}{gone.stdout.strip()}.abc"
    (left / "old").mkdir(parents=True)
    (left / "old" / "one").write_text("old")
    (left / "new").mkdir()

    def half():
        with replacing_folder(target):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        half()
    assert (target / "one").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["tables"]


def test_what_a_living_writer_is_writing_is_left_alone(tmp_path):
    with replacing_folder(tmp_path / "tables") as first:
        (first / "one").write_text("first")
        with replacing_folder(tmp_path / "tables") as second:
            (second / "one").write_text("second")
        assert (first / "one").read_text() == "first"
    assert (tmp_path / "tables" / "one").read_text() == "first"
