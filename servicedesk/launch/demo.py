"""``manage.py demo``: the whole service desk on this machine, with a realistic firm."""

import argparse
import contextlib
import errno
import fcntl
import os
import shutil
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

from servicedesk.launch import stack
from servicedesk.launch.errors import LaunchError
from servicedesk.launch.paths import VAR
from servicedesk.launch.ports import require_free
from servicedesk.launch.processes import Processes

DEFAULT_PORT = 8765


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="manage.py demo", description="Run Saltround with a demo firm on this machine."
    )
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="port of the web page")
    parser.add_argument("--fresh", action="store_true", help="throw the demo's data away and start over")
    parser.add_argument("--no-serve", action="store_true", help="set up and exit")
    options = parser.parse_args(arguments)
    stopped = threading.Event()

    def stop(_signal: int, _frame: FrameType | None) -> None:
        stopped.set()
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    try:
        with _only_one(VAR):
            _check_pango()
            if not options.no_serve:
                require_free(options.port)
            if options.fresh:
                _throw_away(VAR)
            return _run(options, stopped)
    except KeyboardInterrupt:
        return 0
    except OSError as error:
        if error.errno == errno.ENOSPC:
            raise LaunchError("the disk is full: free some space and start again.") from error
        if error.errno in {errno.EACCES, errno.EROFS}:
            raise LaunchError(f"{error.filename} cannot be written; make it writable or set SALTROUND_VAR.") from error
        raise


def _run(options: argparse.Namespace, stopped: threading.Event) -> int:
    children = Processes(VAR / "log")
    try:
        env = stack.services(VAR, children)
        env["SALTROUND_VAR"] = str(VAR)
        env.setdefault("SALTROUND_DB_POOL", "8")
        accounts = set_up(env)
        if options.no_serve:
            print("Set up. Start with: python3 manage.py demo")
            return 0
        stack.start_service(children, env, options.port, VAR)
        print(f"\nSaltround runs at http://127.0.0.1:{options.port}/\n\n{accounts}\nCtrl-C stops it.", flush=True)
        while not stopped.wait(1.0):
            children.check()
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        children.stop()
    return 0


def set_up(env: dict[str, str]) -> str:
    """Migrate, bring files and reference data up to date, load the demo firm on the first run; the sign-ins."""
    accounts = stack.manage(env, "prepare_demo")
    if "no firm" not in accounts:
        return accounts
    print("Loading the demo firm and its year of visits (once, about a minute) …", flush=True)
    stack.manage(env, "load_demo")
    return stack.manage(env, "demo_accounts")


def _throw_away(folder: Path) -> None:
    from servicedesk.launch.database import Postgres

    shutil.rmtree(Postgres(folder / "postgres").data, ignore_errors=True)
    for name in ("postgres", "redis", "media", "static", "log"):
        shutil.rmtree(folder / name, ignore_errors=True)


@contextlib.contextmanager
def _only_one(folder: Path) -> Iterator[None]:
    """Hold the lock of this checkout; a killed start leaves none."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise LaunchError("the demo of this folder runs already; stop it first (Ctrl-C there).") from error
        os.set_inheritable(lock.fileno(), False)
        yield


def _check_pango() -> None:
    try:
        import weasyprint  # noqa: F401 - only to see whether its system library is there
    except OSError as error:
        raise LaunchError(
            "Pango is missing, which the PDFs need; install it, e.g. apt-get install libpango-1.0-0 libpangoft2-1.0-0."
        ) from error
