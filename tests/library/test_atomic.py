"""Saves: whole or not at all, whichever system call fails and wherever a crash comes."""

import builtins
import errno
import io
import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.library import atomic
from motionhub.library.atomic import hold, make_folder, sweep, write_bytes, write_text
from motionhub.library.shelf import Shelf

OLD, NEW = b"old " * 5000, b"new " * 7000


class Crash(BaseException):
    """The machine is gone: nothing after this runs, not even what would tidy up."""


class Calls:
    """Counts the system calls that a save makes, and lets one of them fail."""

    NAMES = ("open", "replace", "fsync", "close", "mkdir")

    def __init__(self, monkeypatch, fail_at: int | None, error: BaseException | None):
        self.count, self.fail_at, self.error = 0, fail_at, error
        self.crashed = False
        for name in self.NAMES:
            monkeypatch.setattr(os, name, self.around(name, getattr(os, name)))
        monkeypatch.setattr(os, "fdopen", self.fdopen(os.fdopen))
        monkeypatch.setattr(Path, "unlink", self.around("unlink", Path.unlink))

    def around(self, name, real):
        def call(*args, **kwargs):
            if self.crashed:
                raise Crash
            if self.count == self.fail_at:
                self.count += 1
                if isinstance(self.error, Crash):
                    self.crashed = True
                elif name == "close":
                    real(*args, **kwargs)  # a descriptor is gone even when closing it says that it failed
                raise self.error
            self.count += 1
            return real(*args, **kwargs)

        return call

    def fdopen(self, real):
        def call(descriptor, mode):
            file = real(descriptor, mode, buffering=0)
            calls = self

            class Slow(io.RawIOBase):
                """Writes in several calls, each of which may fail with what went before already on the disk."""

                def write(self, data):
                    for at in range(0, len(data), 10_000):
                        calls.around("write", file.write)(data[at : at + 10_000])
                    return len(data)

                def fileno(self):
                    return file.fileno()

                def close(self):
                    file.close()
                    super().close()

            return Slow()

        return call


def count_of_calls(monkeypatch, act) -> int:
    with monkeypatch.context() as patch:
        calls = Calls(patch, None, None)
        act()
    return calls.count


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt(), Crash()])
def test_a_write_interrupted_at_any_call_leaves_old_or_new_and_never_half(tmp_path, monkeypatch, error):
    path = tmp_path / "a.json"
    path.write_bytes(OLD)
    total = count_of_calls(monkeypatch, lambda: write_bytes(path, NEW))
    assert total >= 6  # open, write, fsync, replace, open folder, fsync folder at least
    seen = set()
    for fail_at in range(total):
        path.write_bytes(OLD)
        with monkeypatch.context() as patch:
            Calls(patch, fail_at, error)
            with pytest.raises(type(error)):
                write_bytes(path, NEW)
        seen.add(path.read_bytes())
        assert path.read_bytes() in (OLD, NEW)
        if not isinstance(error, Crash):
            assert os.listdir(tmp_path) == ["a.json"]  # what can be tidied up is
        for stray in tmp_path.glob(".*"):
            stray.unlink()
    assert seen == {OLD, NEW}


@pytest.mark.parametrize("error", [OSError(errno.EIO, "Input/output error"), Crash()])
def test_a_save_interrupted_at_any_call_loses_neither_the_document_nor_a_version(tmp_path, monkeypatch, error):
    def fresh(n: int) -> Shelf:
        root = tmp_path / str(n)
        shelf = Shelf(root, root, root / ".history" / "moves")
        shelf.write("a", "first")
        shelf.write("a", "second")
        return shelf

    counted = fresh(-1)
    total = count_of_calls(monkeypatch, lambda: counted.write("a", "third"))
    assert total >= 12
    for fail_at in range(total):
        shelf = fresh(fail_at)
        with monkeypatch.context() as patch:
            Calls(patch, fail_at, error)
            with pytest.raises((InputError, Crash)):
                shelf.write("a", "third")
        now = shelf.path("a").read_text()
        past = [version.path.read_text() for version in shelf.history("a")]
        assert now in ("second", "third")
        assert set(past) <= {"first", "second"}
        assert "first" in past
        if now == "third":
            assert past == ["second", "first"]
        # And the next save works as if nothing had been.
        shelf.write("a", "fourth")
        assert shelf.path("a").read_text() == "fourth"
        assert shelf.history("a")[0].path.read_text() == now


def test_data_is_on_the_disk_before_the_name_and_the_name_before_it_returns(tmp_path, monkeypatch):
    """A power cut after a rename may otherwise find the name without the data (POSIX: fsync, rename)."""
    done = []
    real_fsync, real_replace = os.fsync, os.replace

    def fsync(descriptor):
        folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
        done.append("folder" if folder else os.fstat(descriptor).st_size)
        real_fsync(descriptor)

    def replace(one, other):
        done.append("rename")
        real_replace(one, other)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(os, "replace", replace)
    write_bytes(tmp_path / "a", NEW)
    assert done == [len(NEW), "rename", "folder"]


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
@given(st.text())
def test_what_is_written_is_what_is_read(tmp_path, text):
    path = tmp_path / "a.json"
    try:
        write_text(path, text)
    except UnicodeEncodeError:
        return
    with builtins.open(path, encoding="utf-8", newline="") as file:
        assert file.read() == text


def test_a_link_is_replaced_and_what_it_pointed_to_is_not_touched(tmp_path):
    target = tmp_path / "target"
    target.write_text("keep")
    link = tmp_path / "link"
    link.symlink_to(target)
    write_text(link, "new")
    assert target.read_text() == "keep"
    assert not link.is_symlink()
    assert link.read_text() == "new"


def test_new_files_have_the_permissions_that_the_user_asked_for(tmp_path):
    old = os.umask(0o027)
    try:
        write_text(tmp_path / "a", "x")
    finally:
        os.umask(old)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


def test_folders_are_made_all_the_way_down(tmp_path):
    make_folder(tmp_path / "a" / "b" / "c")
    make_folder(tmp_path / "a" / "b" / "c")
    assert (tmp_path / "a" / "b" / "c").is_dir()


def test_only_stale_leftovers_are_swept(tmp_path):
    for name, age in ((".a.json.1.part", 7200), (".b.json.2.part", 10), ("c.part", 7200), ("d.json", 7200)):
        path = tmp_path / name
        path.write_text("")
        os.utime(path, (1e9 - age, 1e9 - age))
    sweep(tmp_path, older_than_s=3600, now=1e9)
    assert sorted(os.listdir(tmp_path)) == [".b.json.2.part", "c.part", "d.json"]
    sweep(tmp_path / "missing", older_than_s=3600, now=1e9)


def test_a_lock_is_for_one_at_a_time(tmp_path):
    with (tmp_path / "lock").open("a") as one, (tmp_path / "lock").open("a") as two:
        assert hold(one, wait=False)
        assert not hold(two, wait=False)
    with (tmp_path / "lock").open("a") as again:
        assert hold(again, wait=False)


def test_a_reader_never_sees_half_while_a_writer_writes(tmp_path):
    path = tmp_path / "a.json"
    path.write_bytes(OLD)
    done = threading.Event()

    def write():
        for i in range(100):
            write_bytes(path, NEW if i % 2 else OLD)
        done.set()

    writer = threading.Thread(target=write)
    writer.start()
    reads = set()
    while not done.is_set():
        reads.add(path.read_bytes())
    writer.join()
    assert reads <= {OLD, NEW}


WRITER = """
import sys
from pathlib import Path
from motionhub.library.shelf import Shelf
root = Path(sys.argv[1])
shelf = Shelf(root, root, root / ".history" / "moves", keep=1000)
print("ready", flush=True)
sys.stdin.readline()
for i in range(int(sys.argv[3])):
    shelf.write("a", sys.argv[2] * 3000 + str(i))
"""


def start_writer(root: Path, letter: str, times: int) -> subprocess.Popen:
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(root), letter, str(times)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(atomic.__file__).parents[2],
    )
    assert process.stdout.readline() == "ready\n"
    return process


def test_two_writing_processes_lose_nothing_of_each_other(tmp_path):
    writers = [start_writer(tmp_path, letter, 25) for letter in "xy"]
    for writer in writers:
        writer.stdin.write("go\n")
        writer.stdin.flush()
    for writer in writers:
        assert writer.wait(timeout=60) == 0
        writer.stdout.close()
        writer.stdin.close()
    shelf = Shelf(tmp_path, tmp_path, tmp_path / ".history" / "moves")
    texts = [version.path.read_text() for version in shelf.history("a")] + [shelf.path("a").read_text()]
    assert sorted(texts) == sorted(letter * 3000 + str(i) for letter in "xy" for i in range(25))


def test_a_writer_that_is_killed_leaves_a_whole_document(tmp_path):
    shelf = Shelf(tmp_path, tmp_path, tmp_path / ".history" / "moves")
    shelf.write("a", "x" * 3000 + "start")
    for delay in (0.0, 0.01, 0.03):
        writer = start_writer(tmp_path, "x", 100_000)
        writer.stdin.write("go\n")
        writer.stdin.flush()
        time.sleep(delay)
        writer.send_signal(signal.SIGKILL)
        writer.wait(timeout=60)
        writer.stdout.close()
        writer.stdin.close()
        text = shelf.path("a").read_text()
        assert text.startswith("x" * 3000)
        assert text[3000:] == "start" or text[3000:].isdecimal()
        shelf.write("a", "x" * 3000 + "start")
