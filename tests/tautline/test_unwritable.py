"""Outputs that cannot be written, by a real file system that is full or closed: exit 4, the file named, the old whole."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tautline.main import main
from tautline.outputs import COPY, DELIVERABLES

HANDWRITTEN = Path(__file__).parent / "deliver" / "handwritten.json"
ALONE = [name for name in DELIVERABLES if name != COPY]


def report(out, name):
    return main(["report", str(HANDWRITTEN), "--out", str(out), "--only", name])


@pytest.fixture
def mounted(tmp_path):
    """Mount a file system of a few kilobytes in memory, or skip where that is not allowed."""
    at = tmp_path / "disk"
    at.mkdir()
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("only root on Linux may mount a small disk")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(at)],
        check=False,
        capture_output=True,
        text=True,
    )
    if made.returncode:
        pytest.skip(f"no small disk can be mounted here: {made.stderr.strip()}")
    yield at
    subprocess.run(["umount", "-l", str(at)], check=True)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("name", ALONE)
def test_a_full_disk_is_named_and_leaves_the_old_file(mounted, name, capsys):
    old = mounted / DELIVERABLES[name].place
    if DELIVERABLES[name].folder:
        old.mkdir()
        old = old / "pulls.csv"
    old.write_bytes(b"old")
    room = os.statvfs(mounted)
    (mounted / "ballast").write_bytes(b"x" * (room.f_bavail * room.f_frsize - 4096))
    assert report(mounted, name) == 4
    err = capsys.readouterr().err
    assert f"cannot write {mounted}" in err
    assert "choose another place" in err
    assert old.read_bytes() == b"old"
    assert {p.name for p in mounted.iterdir()} == {"ballast", DELIVERABLES[name].place}


@pytest.mark.parametrize("name", ALONE)
def test_a_closed_folder_is_named(tmp_path, name, capsys):
    if os.geteuid() == 0:  # root may write anywhere but where the system itself keeps the files
        out = Path("/proc/self/fdinfo")
        if not out.is_dir():
            pytest.skip("root may write everywhere here")
    else:
        out = tmp_path / "closed"
        out.mkdir(mode=0o555)
    assert report(out, name) == 4
    assert f"cannot write {out}" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this machine")
def test_a_full_standard_output_is_an_output_that_cannot_be_written():
    source = Path(__file__).parent / "deliver" / "handwritten.json"
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from tautline.main import entry; entry()", "explain", str(source), "1"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 4
    assert "standard output" in done.stderr
