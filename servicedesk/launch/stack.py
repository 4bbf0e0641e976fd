"""The whole service on one machine: database, broker, web, worker, scheduler."""

import json
import os
import secrets
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from servicedesk.launch.broker import Redis
from servicedesk.launch.database import Postgres
from servicedesk.launch.errors import LaunchError
from servicedesk.launch.paths import ROOT
from servicedesk.launch.processes import Processes


def secret(folder: Path, name: str) -> str:
    """A secret of this installation, made on the first start."""
    path = folder / name
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(secrets.token_urlsafe(48))
        path.chmod(0o600)
    return path.read_text().strip()


def services(folder: Path, children: Processes, *, throw_away: bool = False) -> dict[str, str]:
    """Start the private database and broker unless the environment names others; the variables to run with."""
    env = dict(os.environ)
    if not env.get("DATABASE_URL"):
        database = Postgres(folder / "postgres", throw_away=throw_away)
        database.start(children)
        env["DATABASE_URL"] = database.url()
    if not env.get("REDIS_URL"):
        broker = Redis(folder / "redis")
        broker.start(children)
        env["REDIS_URL"] = broker.url()
    env.setdefault("SALTROUND_SECRET_KEY", secret(folder, "secret-key"))
    return env


def manage(env: dict[str, str], *arguments: str) -> str:
    """Run a management command to its end; its output. LaunchError with its last line when it fails."""
    command = [sys.executable, str(ROOT / "manage.py"), *arguments]
    result = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    if result.returncode:
        lines = [line for line in (result.stderr or result.stdout).splitlines() if line.strip()]
        last = lines[-1][:300] if lines else "no message"
        if "No space left" in result.stderr:
            last = "the disk is full: free some space and start again."
        raise LaunchError(f"{arguments[0]} failed: {last}")
    return result.stdout


def start_service(children: Processes, env: dict[str, str], port: int, folder: Path, *, beat: bool = True) -> None:
    """Start web, worker and scheduler, and wait until /readyz says so."""
    python = sys.executable
    web = [
        python,
        "-m",
        "gunicorn",
        "servicedesk.wsgi:application",
        "--bind",
        f"127.0.0.1:{port}",
        "--workers",
        "1",
        "--threads",
        "8",
        "--worker-class",
        "gthread",
        "--timeout",
        "60",
        "--chdir",
        str(ROOT),
    ]
    children.start("web", web, env=env)
    worker = [python, "-m", "celery", "-A", "servicedesk", "--workdir", str(ROOT)]
    children.start(
        "worker", [*worker, "worker", "--concurrency", "2", "--loglevel", "INFO", "--without-mingle"], env=env
    )
    if beat:
        schedule = folder / "celerybeat-schedule"
        children.start("scheduler", [*worker, "beat", "--schedule", str(schedule), "--pidfile="], env=env)
    wait_ready(children, port)


def wait_ready(children: Processes, port: int, seconds: float = 90) -> None:
    """Until /readyz answers 200; LaunchError with what is missing otherwise."""
    deadline = time.monotonic() + seconds
    missing = "web"
    while time.monotonic() < deadline:
        children.check()
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=5) as answer:
                if answer.status == 200:
                    return
        except urllib.error.HTTPError as error:
            state = json.loads(error.read() or b"{}")
            missing = ", ".join(name for name, good in state.items() if not good and name != "ready")
        except (urllib.error.URLError, OSError):
            missing = "web"
        time.sleep(0.15)
    raise LaunchError(f"the service does not get ready ({missing}); see {children.log_dir}.")
