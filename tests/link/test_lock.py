"""One owner per machine, by whatever name the machine is called."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from asleft.errors import LineError
from asleft.link.lock import LineLock, resolve, runtime_folder


def test_links_and_host_names_are_one_machine(tmp_path: Path) -> None:
    port = tmp_path / "ttyX"
    port.touch()
    (tmp_path / "by-id").symlink_to(port)
    assert resolve(str(tmp_path / "by-id")) == resolve(str(port))
    assert resolve("socket://127.0.0.1:8000") == resolve("socket://127.0.0.1:8000/")
    assert resolve("socket://127.0.0.1:8000") != resolve("socket://127.0.0.1:8001")
    assert resolve("com3") == resolve("COM3")


def test_the_second_is_told_who_holds_it(tmp_path: Path) -> None:
    first = LineLock("/dev/ttyX", "the page at http://127.0.0.1:8080", tmp_path)
    first.take()
    with pytest.raises(LineError, match="the page at http") as caught:
        LineLock("/dev/ttyX", "another", tmp_path).take()
    assert str(os.getpid()) in caught.value.message
    assert caught.value.exit_status == 3
    LineLock("/dev/ttyY", "another", tmp_path).take()
    first.release()
    LineLock("/dev/ttyX", "another", tmp_path).take()


def test_a_crash_frees_it(tmp_path: Path) -> None:
    code = (
        "import sys, time; from pathlib import Path; from asleft.link.lock import LineLock;"
        "lock = LineLock('/dev/ttyX', 'doomed', Path(sys.argv[1])); lock.take();"
        "print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as doomed:
        try:
            assert doomed.stdout is not None and doomed.stdout.readline() == "held\n"
            with pytest.raises(LineError, match="doomed"):
                LineLock("/dev/ttyX", "next", tmp_path).take()
        finally:
            doomed.kill()
    time.sleep(0.05)
    LineLock("/dev/ttyX", "next", tmp_path).take()


def test_word_of_heat_is_left_only_by_a_holder_that_did_not_take_it_back(tmp_path: Path) -> None:
    first = LineLock("/dev/ttyX", "a test", tmp_path)
    first.take()
    assert not first.left_hot
    first.mark_hot(True)
    first.mark_hot(False)
    first.release()
    second = LineLock("/dev/ttyX", "a test", tmp_path)
    second.take()
    assert not second.left_hot
    second.mark_hot(True)
    second.release()  # as a holder does that could not confirm it
    third = LineLock("/dev/ttyX", "a test", tmp_path)
    third.take()
    assert third.left_hot
    third.release()


def test_one_folder_from_the_first_time_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "not" / "there"))
    assert runtime_folder() == runtime_folder()
