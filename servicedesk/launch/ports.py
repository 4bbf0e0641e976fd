"""Free ports on the loopback address."""

import socket

from servicedesk.launch.errors import LaunchError


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def require_free(port: int, host: str = "127.0.0.1") -> None:
    """Raise LaunchError when somebody listens there already."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise LaunchError(f"port {port} is taken; choose another with --port, e.g. --port {port + 1}.") from error
