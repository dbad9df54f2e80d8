import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tautline.deliver.atomic import replacing, slug, write_text
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
    with pytest.raises(OutputError, match="choose another --out"):
        write_text(tmp_path / "out" / "result.txt", "new")


def test_a_full_disk_is_told(tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_text(tmp_path / "result.txt", "new")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["../../etc/x", "a/b\\c:d", "..", "", "nul", "x" * 300, "בור", "\x00\n"])
def test_slugs_are_plain_file_names(name, tmp_path):
    safe = slug(name)
    assert 0 < len(safe) <= 61
    assert Path(safe).name == safe
    assert safe not in (".", "..")
    (tmp_path / safe).write_text("")
    assert [p.name for p in tmp_path.iterdir()] == [safe]


WRITER = """
import sys
from pathlib import Path
from tautline.deliver.atomic import write_text
while True:
    for letter in "ab":
        write_text(Path(sys.argv[1]), letter * 3_000_000)
"""


def test_a_kill_at_any_moment_leaves_a_whole_file(tmp_path):
    target = tmp_path / "result.txt"
    write_text(target, "a")
    for wait in (0.25, 0.31, 0.4):
        writer = subprocess.Popen([sys.executable, "-c", WRITER, str(target)])
        time.sleep(wait)
        writer.kill()
        writer.wait()
        found = target.read_text()
        assert found == "a" or (len(found) == 3_000_000 and found in ("a" * 3_000_000, "b" * 3_000_000))
