"""The launcher: ports, children, the environment's stamp, one clear line for what goes wrong."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from servicedesk.launch import environment
from servicedesk.launch.errors import LaunchError
from servicedesk.launch.ports import free_port, require_free
from servicedesk.launch.processes import Processes

SLEEP = [sys.executable, "-c", "import time; time.sleep(60)"]
DEAF = [
    sys.executable,
    "-c",
    "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('up', flush=True); time.sleep(60)",
]


def alive(pid: int) -> bool:
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except FileNotFoundError:
        return False


def until(found: object, seconds: float = 10) -> None:
    deadline = time.monotonic() + seconds
    while not found():  # type: ignore[operator]
        assert time.monotonic() < deadline
        time.sleep(0.02)


def test_free_port_may_be_used() -> None:
    require_free(free_port())


def test_taken_port_is_one_line_with_the_remedy() -> None:
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        port = server.getsockname()[1]
        with pytest.raises(LaunchError, match=f"port {port} is taken; choose another with --port"):
            require_free(port)


def test_stop_leaves_no_child(tmp_path: Path) -> None:
    children = Processes(tmp_path)
    pids = [children.start(name, SLEEP).pid for name in ("one", "two")]
    children.stop()
    assert not any(alive(pid) for pid in pids)


def test_child_that_does_not_listen_is_killed(tmp_path: Path) -> None:
    children = Processes(tmp_path)
    child = children.start("deaf", DEAF)
    until(lambda: "up" in (tmp_path / "deaf.log").read_text())
    children.stop(grace_s=0.3)
    assert child.returncode == -signal.SIGKILL


def test_child_that_ends_by_itself_is_told_with_its_last_words(tmp_path: Path) -> None:
    children = Processes(tmp_path)
    children.start("web", [sys.executable, "-c", "raise SystemExit('no such table')"]).wait()
    with pytest.raises(LaunchError, match=r"web ended by itself; its last words: no such table"):
        children.check()


def test_full_disk_is_told_in_words(tmp_path: Path) -> None:
    children = Processes(tmp_path)
    words = "import sys; sys.exit('OSError: [Errno 28] No space left on device')"
    children.start("postgres", [sys.executable, "-c", words]).wait()
    with pytest.raises(LaunchError, match="the disk is full"):
        children.check()


def test_children_die_with_a_launcher_that_is_killed(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from servicedesk.launch.processes import Processes\n"
        f"child = Processes(Path({str(tmp_path)!r})).start('one', {SLEEP!r}); print(child.pid, flush=True)\n"
        "import time; time.sleep(60)"
    )
    launcher = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert launcher.stdout is not None
    pid = int(launcher.stdout.readline())
    os.kill(launcher.pid, signal.SIGKILL)
    launcher.wait()
    launcher.stdout.close()
    until(lambda: not alive(pid))


@pytest.mark.parametrize(
    ("lock", "dev", "satisfied"), [("dev", True, True), ("dev", False, True), ("plain", True, False)]
)
def test_environment_is_made_again_when_the_lock_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, lock: str, dev: bool, satisfied: bool
) -> None:  # fmt: skip
    (tmp_path / "python").touch()
    monkeypatch.setattr(environment, "bin_dir", lambda: tmp_path)
    stamp = tmp_path / "stamp"
    assert not environment.is_satisfied(dev=dev, stamp=stamp)
    stamp.write_text(environment.digest(environment.lock_file(dev=lock == "dev")))
    assert environment.is_satisfied(dev=dev, stamp=stamp) is satisfied


def test_locks_carry_hashes_and_name_no_host() -> None:
    for dev in (True, False):
        text = environment.lock_file(dev=dev).read_text()
        assert "--hash=sha256:" in text
        assert "://" not in text
