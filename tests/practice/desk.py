"""A desk served in a thread, for tests that talk to it as a page does."""

import asyncio
import json
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from slipbench.practice.gate import DRIVE, LIVE, Log
from slipbench.practice.lessons import load_lesson
from slipbench.practice.server import DeskServer
from slipbench.practice.session import Desk
from slipbench.scenario import Scenario
from slipbench.strategies.registry import find_controller

HERE = "127.0.0.1"


class Served:
    """A desk being served, its log kept."""

    def __init__(self, desk: Desk, folder: Path) -> None:
        self.lines: list[str] = []
        self.server = DeskServer(desk, folder, Log(self.lines.append))
        self._sockets = ExitStack()
        self.loop = asyncio.new_event_loop()
        self._opened = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()
        assert self._opened.wait(20.0)

    def _run(self) -> None:
        asyncio.set_event_loop(self.loop)
        serving = self.server.serve([HERE], HERE, 0, self._opened.set)
        self.task = self.loop.create_task(serving)
        try:
            self.loop.run_until_complete(self.task)
        except asyncio.CancelledError:
            pass
        finally:
            self.loop.close()

    def close(self) -> None:
        self.loop.call_soon_threadsafe(self.task.cancel)
        self._thread.join(10.0)
        self._sockets.close()

    @property
    def port(self) -> int:
        return int(self.server.gate.hosts[0].rpartition(":")[2])

    def page(self, role: str) -> str:
        return self.server.gate.address(role)

    def live(self, role: str) -> str:
        return self.server.gate.address(role, LIVE).replace("http:", "ws:")

    def connect(self, role: str, **settings: Any) -> Any:
        """Return a socket as a page of this role opens it."""
        from websockets.sync.client import connect

        origin = f"http://{HERE}:{self.port}"
        opening = connect(self.live(role), **{"origin": origin, "close_timeout": 0.2, **settings})
        return self._sockets.enter_context(opening)

    def driver(self, who: str = "someone") -> Any:
        socket = self.connect(DRIVE)
        say(socket, do="hello", id=who)
        return socket


def say(socket: Any, **message: Any) -> None:
    socket.send(json.dumps(message))


def take(socket: Any, kind: str, until: Any = lambda frame: True, wait: float = 10.0) -> Any:
    """Return the next frame of a kind that fits."""
    ends = time.monotonic() + wait
    while time.monotonic() < ends:
        frame = json.loads(socket.recv(timeout=wait))
        if frame["kind"] == kind and until(frame):
            return frame
    raise AssertionError(f"no such {kind} within {wait} s")


def lesson_desk(name: str, strategy: str = "slip_band") -> Desk:
    lesson = load_lesson(name)
    return Desk(list(lesson.scenarios), find_controller(strategy), 0, lesson, ("dry", "wet_leaf"))


def scenario_desk(scenario: Scenario, strategy: str = "slip_band") -> Desk:
    return Desk([scenario], find_controller(strategy), 0, None, ("dry",))


@contextmanager
def served(desk: Desk, folder: Path) -> Iterator[Served]:
    running = Served(desk, folder)
    try:
        yield running
    finally:
        running.close()
