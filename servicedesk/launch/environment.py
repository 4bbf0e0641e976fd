"""The environment in ``.venv``, made from the hashed lock and made again when the lock changes."""

import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import venv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from servicedesk.launch.errors import LaunchError
from servicedesk.launch.paths import ROOT, VENV, bin_dir

STAMP = "saltround-lock"
MIN_FREE_BYTES = 900 * 1024 * 1024


def lock_file(*, dev: bool) -> Path:
    return ROOT / ("requirements-dev.lock" if dev else "requirements.lock")


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def is_satisfied(*, dev: bool, stamp: Path = VENV / STAMP) -> bool:
    """Whether ``.venv`` was made from today's lock; a development environment serves the demo too."""
    if not stamp.exists() or not (bin_dir() / "python").exists():
        return False
    made_from = set(stamp.read_text().split())
    return digest(lock_file(dev=True)) in made_from or (not dev and digest(lock_file(dev=False)) in made_from)


def enter(*, dev: bool) -> None:
    """Make the environment if needed and go on inside it (the process is replaced)."""
    if os.environ.get("SALTROUND_IN_ENVIRONMENT") == "1":
        return
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    if os.environ.get("SALTROUND_SYSTEM_PYTHON") == "1" or (not inside and _has_everything()):
        return
    if not is_satisfied(dev=dev):
        with _one_at_a_time():
            if not is_satisfied(dev=dev):
                make(dev=dev)
    if inside:
        return
    python = str(bin_dir() / "python")
    os.execve(python, [python, *sys.argv], {**os.environ, "SALTROUND_IN_ENVIRONMENT": "1"})  # noqa: S606 - our own interpreter


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Let a second command wait for the first: two makers would pull the environment from under each other."""
    with (ROOT / ".venv.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _has_everything() -> bool:
    """Whether this interpreter carries the packages already, as in the container image."""
    return importlib.util.find_spec("django") is not None and os.environ.get("SALTROUND_CONTAINER") == "1"


def make(*, dev: bool) -> None:
    """Make ``.venv`` from the lock, from scratch if an earlier try was left half-made."""
    lock = lock_file(dev=dev)
    _check_space()
    print(f"Making the environment in {VENV.name} from {lock.name} (once, a minute or two) …", flush=True)
    stamp = VENV / STAMP
    fresh = not stamp.exists()
    try:
        if fresh:
            shutil.rmtree(VENV, ignore_errors=True)
            venv.create(VENV, with_pip=True)
        else:
            stamp.unlink()
    except (OSError, subprocess.CalledProcessError) as error:
        raise LaunchError(
            f"cannot make {VENV}: {error}. Is the folder writable, and the system's package python3-venv installed?"
        ) from error
    _install(lock)
    stamp.write_text(digest(lock))


def _install(lock: Path) -> None:
    command = [
        str(bin_dir() / "python"),
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--no-input",
        "--require-hashes",
        "-r",
        str(lock),
    ]
    result = subprocess.run(command, capture_output=True, text=True, check=False)
    if result.returncode == 0:
        return
    output = f"{result.stdout}\n{result.stderr}"
    if "No space left" in output:
        raise LaunchError("the disk is full; free about 1 GB and start again.")
    last = next((line for line in reversed(output.splitlines()) if "ERROR" in line), output.strip()[-200:])
    raise LaunchError(f"packages could not be installed ({last.strip()}). Check the network and start again.")


def _check_space() -> None:
    free = shutil.disk_usage(ROOT).free
    if free < MIN_FREE_BYTES:
        raise LaunchError(f"only {free // 1024**2} MB are free on the disk; free about 1 GB and start again.")
