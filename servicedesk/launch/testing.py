"""``manage.py test``: every check and test, with private services of its own."""

import os
import shutil
import signal
import subprocess
import sys
import time
from types import FrameType

from servicedesk.launch import stack
from servicedesk.launch.errors import LaunchError
from servicedesk.launch.paths import ROOT, VAR, bin_dir
from servicedesk.launch.processes import Processes

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
DEBIAN_PACKAGES = ("chromium", "libpango-1.0-0", "libpangoft2-1.0-0", "poppler-utils")
NO_TEST_RAN = 5


def main(arguments: list[str]) -> int:
    """Without arguments everything; with arguments only pytest on them (paths, -k …)."""
    signal.signal(signal.SIGTERM, _interrupt)
    children = Processes(VAR / "test" / "log")
    started = time.monotonic()
    failed: list[str] = []
    try:
        _system_packages()
        env = stack.services(VAR / "test", children, throw_away=True)
        env |= {
            "SALTROUND_VAR": str(VAR / "test"),
            "SALTROUND_CHROMIUM": browser() or "",
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        lint_only = arguments == ["--lint-only"]
        if not arguments or lint_only:
            failed = [name for name, command in CHECKS.items() if not _passes(name, command, env)]
        if not lint_only and not _pytest(arguments or ["-n", "2", "--dist", "loadgroup", "tests"], env):
            failed.append("pytest")
    except KeyboardInterrupt:
        return 130
    finally:
        children.stop()
    minutes = (time.monotonic() - started) / 60
    if failed:
        print(f"\nFailed: {', '.join(failed)} ({minutes:.1f} min).", file=sys.stderr)
        return 1
    print(f"\nAll green in {minutes:.1f} min.")
    return 0


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


CHECKS: dict[str, list[str]] = {
    "ruff": ["ruff", "check", "."],
    "format": ["ruff", "format", "--check", "."],
    "mypy": ["mypy", "servicedesk", "tests"],
    "import-linter": ["lint-imports", "--no-cache"],
    "djlint": ["djlint", "templates", "--lint", "--quiet"],
    "migrations": ["python", "manage.py", "makemigrations", "--check", "--dry-run"],
    "deploy check": ["python", "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
}


def _passes(name: str, command: list[str], env: dict[str, str]) -> bool:
    program = [str(bin_dir() / command[0]), *command[1:]]
    started = time.monotonic()
    result = subprocess.run(program, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    good = result.returncode == 0
    print(f"{'ok  ' if good else 'FAIL'} {name} ({time.monotonic() - started:.0f} s)", flush=True)
    if not good:
        print((result.stdout + result.stderr)[-6000:], flush=True)
    return good


def _pytest(arguments: list[str], env: dict[str, str]) -> bool:
    result = subprocess.run([sys.executable, "-m", "pytest", *arguments], cwd=ROOT, env=env, check=False)
    if result.returncode == NO_TEST_RAN:
        print("No test ran.", file=sys.stderr)
    return result.returncode == 0


def browser() -> str | None:
    """The path of a Chromium, or None."""
    return os.environ.get("SALTROUND_CHROMIUM") or next(
        (path for name in BROWSERS if (path := shutil.which(name))), None
    )


def _has_pango() -> bool:
    code = "import weasyprint"
    return subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def _system_packages() -> None:
    """Install Pango and Chromium as root on Debian; elsewhere say in one line what is missing."""
    if browser() and _has_pango():
        return
    apt = shutil.which("apt-get")
    wanted = " ".join(DEBIAN_PACKAGES)
    if os.geteuid() != 0 or apt is None:
        raise LaunchError(f"Chromium or Pango is missing; install them, e.g. apt-get install {wanted}.")
    print(f"Installing {wanted} …", flush=True)
    env = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in ([apt, "-qq", "update"], [apt, "-qq", "-y", "install", "--no-install-recommends", *DEBIAN_PACKAGES]):
        result = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
        if result.returncode:
            raise LaunchError(f"apt-get failed: {result.stderr.strip()[-200:]}")
