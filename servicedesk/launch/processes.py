"""Children that die with us, and leftovers of a killed start."""

import contextlib
import ctypes
import os
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from servicedesk.launch.errors import LaunchError

PR_SET_PDEATHSIG = 1


def die_with_parent() -> None:
    """Ask the kernel to end this child when its parent ends (Linux; elsewhere nothing)."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


class Processes:
    """A group of children started together and stopped together, the last one first."""

    def __init__(self, log_dir: Path) -> None:
        self.log_dir = log_dir
        self.children: list[tuple[str, subprocess.Popen[bytes]]] = []
        log_dir.mkdir(parents=True, exist_ok=True)

    def start(
        self, name: str, command: Sequence[str], *, env: Mapping[str, str] | None = None, user: int | None = None
    ) -> subprocess.Popen[bytes]:
        """Start a child whose output goes to ``<log_dir>/<name>.log``."""
        log = (self.log_dir / f"{name}.log").open("ab")
        child = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            env=dict(env) if env else None,
            user=user,
            group=user,
            extra_groups=[] if user is not None else None,
            start_new_session=True,
            preexec_fn=die_with_parent,
        )
        log.close()
        self.children.append((name, child))
        return child

    def check(self) -> None:
        """Raise LaunchError when a child has ended by itself."""
        for name, child in self.children:
            if child.poll() is not None:
                raise LaunchError(f"{name} ended by itself; {self.tail(name)}")

    def tail(self, name: str) -> str:
        path = self.log_dir / f"{name}.log"
        lines = (
            [line for line in path.read_text(errors="replace").splitlines() if line.strip()] if path.exists() else []
        )
        if any("No space left" in line for line in lines[-20:]):
            return "the disk is full: free some space and start again."
        return f"its last words: {lines[-1][:200]} (see {path})" if lines else f"see {path}"

    def stop(self, grace_s: float = 12.0) -> None:
        """End all children, the last started first; those that do not listen are killed."""
        for name, child in reversed(self.children):
            if child.poll() is None:
                end(child.pid, signal.SIGINT if name == "postgres" else signal.SIGTERM)
                deadline = time.monotonic() + grace_s
                while child.poll() is None and time.monotonic() < deadline:
                    time.sleep(0.05)
            if child.poll() is None:
                end(child.pid, signal.SIGKILL)
                child.wait()
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(child.pid, signal.SIGKILL)
        self.children.clear()


def end(pid: int, signal_number: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal_number)


def is_running(pid: int, word: str) -> bool:
    """Whether a process of that number runs and its command line holds ``word`` (so that it is really ours)."""
    try:
        return word in Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
    except OSError:
        return False


def wait_gone(pid: int, seconds: float) -> bool:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if not Path(f"/proc/{pid}").exists():
            return True
        time.sleep(0.05)
    return not Path(f"/proc/{pid}").exists()
