"""The running service with the demo firm, a mail server that listens, and a browser."""

import os
import secrets
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import Message
from email.policy import default as email_policy
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from aiosmtpd.controller import Controller
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from psycopg import sql

from servicedesk.launch import stack
from servicedesk.launch.broker import Redis
from servicedesk.launch.paths import ROOT
from servicedesk.launch.ports import free_port
from servicedesk.launch.processes import Processes

PASSWORD = "reef-round-2026"
SMALL_FIRM = ("load_demo", "--sites", "12", "--weeks", "6")
PHONE, TABLET, DESK = {"width": 360, "height": 740}, {"width": 820, "height": 1180}, {"width": 1440, "height": 900}
CHROMIUM_ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.hookimpl(tryfirst=True)  # before the items are given to processes
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """All journeys share one desk, so one process runs them."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.xdist_group("browser"))


class Postbox:
    """An SMTP server's handler that keeps what arrives."""

    def __init__(self) -> None:
        self.messages: list[tuple[list[str], Message]] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        message = message_from_bytes(envelope.content, policy=email_policy)
        self.messages.append((list(envelope.rcpt_tos), message))
        return "250 kept"

    def to(self, address: str) -> list[Message]:
        return [message for receivers, message in self.messages if address in receivers]

    def about(self, words: str) -> list[Message]:
        return [message for _receivers, message in self.messages if words in str(message["Subject"])]


@dataclass
class Desk:
    """A running service desk: where it answers and the mail that left it."""

    url: str
    post: Postbox
    accounts: dict[str, list[str]]
    env: dict[str, str] = field(repr=False)

    def job(self, name: str) -> None:
        """Send the worker a job that the scheduler sends by the clock."""
        command = [sys.executable, "-m", "celery", "-A", "servicedesk", "--workdir", str(ROOT), "call", name]
        subprocess.run(command, env=self.env, check=True, capture_output=True)


@pytest.fixture(scope="session")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """Web, worker and mail server over a database of their own with a small demo firm."""
    folder = tmp_path_factory.mktemp("desk")
    admin = os.environ.get("DATABASE_URL", "")
    if not admin:
        pytest.skip("DATABASE_URL names no PostgreSQL")
    post = Postbox()
    mail = Controller(post, hostname="127.0.0.1", port=free_port())
    mail.start()
    children = Processes(folder / "log")
    broker = Redis(folder / "redis")  # of its own, so that no other worker takes our jobs
    broker.start(children)
    name = f"journey_{secrets.token_hex(4)}"
    env = {
        **os.environ,
        "DATABASE_URL": urlunsplit(urlsplit(admin)._replace(path=f"/{name}")),
        "REDIS_URL": broker.url(),
        "SALTROUND_VAR": str(folder),
        "SALTROUND_SECRET_KEY": secrets.token_hex(32),
        "SALTROUND_SMTP_HOST": "127.0.0.1",
        "SALTROUND_SMTP_PORT": str(mail.port),
        "SALTROUND_DEBUG": "0",
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
    }
    with psycopg.connect(admin, autocommit=True) as connection:
        connection.execute(sql.SQL("create database {}").format(sql.Identifier(name)))
    try:
        for step in (("migrate", "--no-input"), ("collectstatic", "--no-input"), ("load_reference",), SMALL_FIRM):
            stack.manage(env, *step)
        port = free_port()
        stack.start_service(children, env, port, folder)
        yield Desk(f"http://127.0.0.1:{port}", post, _accounts(stack.manage(env, "demo_accounts")), env)
    finally:
        children.stop()
        mail.stop()
        with psycopg.connect(admin, autocommit=True) as connection:
            connection.execute(sql.SQL("drop database if exists {} with (force)").format(sql.Identifier(name)))


def _accounts(lines: str) -> dict[str, list[str]]:
    """The demo's sign-ins by role."""
    found: dict[str, list[str]] = {}
    for line in lines.splitlines():
        role, _, rest = line.strip().partition("  ")
        if "@" in rest:
            found.setdefault(role, []).append(rest.split()[0])
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Closed after each module: its event loop would keep Django's own tests from the database."""
    path = os.environ.get("SALTROUND_CHROMIUM") or "/usr/bin/chromium"
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=path, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


class Person:
    """Somebody signed in, with a page of their own; any error in the page fails the test."""

    def __init__(self, browser: Browser, desk: Desk, email: str, viewport: dict[str, int]) -> None:
        self.context: BrowserContext = browser.new_context(viewport=viewport, base_url=desk.url, has_touch=True)  # type: ignore[arg-type]
        self.page: Page = self.context.new_page()
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._console)
        self.page.goto("/sign-in/")
        self.page.get_by_label("Email").fill(email)
        self.page.get_by_label("Password").fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(lambda url: "/sign-in/" not in url)

    def _console(self, message: Any) -> None:
        if "Content Security Policy" in message.text:
            self.errors.append(message.text)

    def leave(self) -> None:
        self.context.close()
        assert self.errors == []
