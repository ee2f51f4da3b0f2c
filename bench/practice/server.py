"""The desk's server: pages and sockets on this machine, and the clock that moves the train."""

from __future__ import annotations

import asyncio
import gc
import json
import shlex
import time
from collections import OrderedDict, deque
from http import HTTPStatus
from pathlib import Path
from typing import Any

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.practice.debrief import Debrief, debrief, table_row
from slipbench.practice.debrief_page import debrief_page
from slipbench.practice.gate import DEBRIEF, DRIVE, LIVE, ROLES, Gate, Log
from slipbench.practice.live import LiveStop
from slipbench.practice.messages import LARGEST, read_message
from slipbench.practice.pages import desk_page, library, response, silent
from slipbench.practice.saving import run_files, save_run, write_table
from slipbench.practice.session import ENDED, READY, RUNNING, Desk, Session, checked_name

TICK = 0.05
"""Between two frames. [s]"""

SLEPT = 1.0
"""A tick later than this is not caught up: the machine slept. [s]"""

MOST_WAITING, MOST_OPEN, MOST_A_SECOND = 40, 40, 40
"""Connections that have not said who they are, sockets open, messages of one of them a second."""

HANDSHAKE = 4.0
"""What a connection may take to say who it is. [s]"""

SLOW = 2_000_000
"""A page that has so much yet to take is let go. [bytes]"""


class DeskServer:
    """One desk: a session, the pages open on it, and its clock.

    Parameters
    ----------
    desk : Desk
    folder : Path          where runs are saved
    log : Log
    """

    def __init__(self, desk: Desk, folder: Path, log: Log | None = None) -> None:
        self.desk, self.folder = desk, folder
        self.log = log or Log()
        self.gate = Gate(self.log)
        self.session = Session(desk)
        self._warm_up()
        self.lags: deque[float] = deque(maxlen=100_000)
        self.saved: list[Path] = []
        self._sockets: dict[Any, str] = {}
        self._waiting: OrderedDict[Any, None] = OrderedDict()
        self._driver: Any = None
        self._driver_id = ""
        self._guesses: dict[str, float] = {}
        self._is_asking = False
        self._debrief: dict[str, str] = {}
        self._finishing: asyncio.Task[None] | None = None

    def _warm_up(self) -> None:
        """Run a stop that nobody sees, so that the first moments of a real one are on time."""
        unseen = LiveStop(self.session.start, self.desk.known.controller, self.desk.seed)
        unseen.advance(0.2)
        unseen.select(1)
        unseen.press()
        unseen.advance(0.4)

    # serving

    async def serve(self, names: list[str], host: str, port: int, opened: Any = None) -> None:
        """Serve until cancelled.

        Parameters
        ----------
        names : list of str   names under which it is reached; the last is told to people
        host, port : where it is bound; port 0 is any
        opened : callable     called once it listens

        Raises
        ------
        InputError   without the extra, or if the port cannot be had
        """
        serve = library()
        gc.collect()
        gc.freeze()  # a full walk over all that was imported takes a third of a second
        try:
            server = await serve(
                self._talk, host, port, process_request=self._request,
                create_connection=self._connection_class(), open_timeout=HANDSHAKE,
                max_size=LARGEST, max_queue=8, compression=None, ping_interval=10,
                ping_timeout=20, close_timeout=2, server_header=None, logger=silent(),
            )  # fmt: skip
        except OSError as problem:
            raise InputError(f"port {port}: cannot be had ({problem.strerror})") from problem
        async with server:
            self.gate.open_at(names, next(iter(server.sockets)).getsockname()[1])
            if opened is not None:
                opened()
            await self._clock()

    def _connection_class(self) -> Any:
        """Return the library's connection, the oldest that is still silent giving way to new."""
        from websockets.asyncio.server import ServerConnection

        desk = self

        class Counted(ServerConnection):  # type: ignore[misc,unused-ignore]
            def connection_made(self, transport: Any) -> None:
                super().connection_made(transport)
                desk._waiting[self] = None
                while len(desk._waiting) > MOST_WAITING:
                    oldest, _ = desk._waiting.popitem(last=False)
                    desk.log.refuse("too many connections", "the oldest silent one gave way")
                    oldest.transport.abort()

            def connection_lost(self, exc: Exception | None) -> None:
                desk._waiting.pop(self, None)
                super().connection_lost(exc)

        return Counted

    def _request(self, connection: Any, request: Any) -> Any:
        """Answer a page, let a socket through (None), or refuse."""
        self._waiting.pop(connection, None)
        admitted = self.gate.admit(request.path, request.headers.get_all)
        if admitted is None:
            return response(HTTPStatus.FORBIDDEN, "refused\n", "text/plain")
        role, place = admitted
        if place == LIVE:
            if len(self._sockets) >= MOST_OPEN:
                self.log.refuse("too many pages", role)
                return response(HTTPStatus.SERVICE_UNAVAILABLE, "full\n", "text/plain")
            return None
        if place == DEBRIEF:
            page = self._debrief.get(role)
            if page is None:
                return response(HTTPStatus.NOT_FOUND, "no run has ended yet\n", "text/plain")
            return response(HTTPStatus.OK, page, "text/html")
        return response(HTTPStatus.OK, desk_page(role), "text/html")

    # talking

    async def _talk(self, socket: Any) -> None:
        """Take the messages of one page until it leaves or says something it may not."""
        from websockets.exceptions import ConnectionClosed

        path = socket.request.path.partition("?")[0]
        role = next(r for r in ROLES if path.split("/")[1] == self.gate.tokens[r])
        if role != DRIVE:
            self._sockets[socket] = role
            await self._greet(socket, role)
        recent: deque[float] = deque(maxlen=MOST_A_SECOND)
        try:
            async for text in socket:
                now = time.monotonic()
                if len(recent) == MOST_A_SECOND and now - recent[0] < 1.0:
                    raise InputError("more messages than a hand can send")
                recent.append(now)
                message = read_message(text, role)
                if role == DRIVE and not await self._may_drive(socket, message):
                    return
                await self._act(socket, message, now)
        except InputError as problem:
            self.log.refuse("malformed frame", str(problem))
            await socket.close(1008, "refused")
        except ConnectionClosed as end:
            code = end.sent.code if end.sent is not None else 0
            if code == 1009:
                self.log.refuse("oversized frame", f"more than {LARGEST} bytes")
            elif code in (1002, 1007):
                self.log.refuse("malformed frame", "against the protocol")
        finally:
            self._sockets.pop(socket, None)
            if socket is self._driver:
                self._driver = None

    async def _may_drive(self, socket: Any, message: dict[str, Any]) -> bool:
        """Let one page have the handle: the first, and that page again after a reload."""
        if socket is self._driver:
            return True
        who = message.get("id", "")
        if message["do"] != "hello" or not who:
            raise InputError("a page that has not said hello")
        if self._driver is not None and who != self._driver_id:
            self.log.refuse("a second driver", "someone is driving")
            await socket.close(4001, "someone is driving")
            return False
        before, self._driver, self._driver_id = self._driver, socket, who
        self._sockets[socket] = DRIVE
        if before is not None:
            await before.close(4002, "driven from another window")
        await self._greet(socket, DRIVE)
        return True

    async def _greet(self, socket: Any, role: str) -> None:
        frames = [self.session.card()]
        if role == DRIVE:
            frames.append(self.session.cab())
        else:
            frames += [self.session.train(), self.session.scene(), self._question()]
        if self._debrief and self.session.state == ENDED:
            frames.append({"kind": "debrief", "at": f"/{self.gate.tokens[role]}/{DEBRIEF}"})
        for frame in frames:
            await socket.send(_json(frame))

    async def _act(self, socket: Any, message: dict[str, Any], now: float) -> None:
        do, session = message["do"], self.session
        if do == "begin":
            session.begin(now, message["name"])
        elif do == "handle":
            session.select(now, message["to"])
        elif do == "isolate":
            session.press(now)
        elif do == "freeze":
            session.freeze(now)
        elif do == "resume":
            session.resume(now)
        elif do == "pace":
            session.set_pace(now, message["to"])
        elif do == "end":
            session.end()
        elif do in ("again", "choose", "rail"):
            self._again(do, message)
        elif do in ("ask", "reveal", "guess"):
            self._quiz(do, message, now)
        self._send_all()

    def _again(self, do: str, message: dict[str, Any]) -> None:
        """Set a new run up; one that is under way is not thrown away for it."""
        if self.session.state not in (READY, ENDED) or self._finishing is not None:
            return
        choice, rail = self.session.choice, self.session.rail
        if do == "choose":
            if message["to"] >= len(self.desk.scenarios):
                raise InputError("choose: there is no such scenario")
            choice, rail = message["to"], ""
        if do == "rail":
            if message["to"] not in ("", *self.desk.rails):
                raise InputError("rail: there is no such rail")
            rail = message["to"]
        name = self.session.name
        self.session = Session(self.desk, choice, rail)
        self.session.name = name
        self._guesses, self._is_asking = {}, False
        self._send(lambda role: [self.session.card()])
        self._send(lambda role: [self.session.train()] if role != DRIVE else [])

    def _quiz(self, do: str, message: dict[str, Any], now: float) -> None:
        """Ask where the train will stop, take what is guessed, and run on."""
        if do == "ask":
            self.session.freeze(now)
            self._is_asking, self._guesses = True, {}
        elif do == "guess":
            name = checked_name(message["name"]) or "?"
            if self._is_asking and (name in self._guesses or len(self._guesses) < 60):
                self._guesses[name] = message["place"]
        else:
            self._is_asking = False
            self.session.resume(now)
        self._send(lambda role: [self._question()] if role != DRIVE else [])

    def _question(self) -> dict[str, Any]:
        """Return what is asked: guesses are told once it has run on."""
        told = {} if self._is_asking else self._guesses
        return {
            "kind": "question", "open": self._is_asking, "n": len(self._guesses), "guesses": told
        }  # fmt: skip

    # sending

    def _send(self, frames: Any) -> None:
        """Send to every page what `frames(role)` gives; a page that does not keep up is let go."""
        from websockets.asyncio.server import broadcast

        for role in ROLES:
            sockets = [socket for socket, own in self._sockets.items() if own == role]
            if not sockets:
                continue
            for frame in frames(role):
                broadcast(sockets, _json(frame))
            for socket in sockets:
                if socket.transport.get_write_buffer_size() > SLOW:
                    self.log.refuse("a page too slow to follow", role)
                    socket.transport.abort()

    def _send_all(self) -> None:
        scene = None
        if any(role != DRIVE for role in self._sockets.values()):
            scene = self.session.scene()
        self._send(lambda role: [self.session.cab() if role == DRIVE else scene])

    # the clock

    async def _clock(self) -> None:
        due = time.monotonic()
        while True:
            due += TICK
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            late = time.monotonic() - due
            if late > SLEPT:
                if self.session.state == RUNNING:
                    self.session.skip(late)
                    self.log.say(f"the machine slept {late:.1f} s; the run waited")
                due += late
            was_running = self.session.state == RUNNING
            try:
                self.session.advance(due)
            except InputError as problem:
                self.log.say(str(problem))
                self.session.end()
            if was_running:
                self._send_all()
                self.lags.append(time.monotonic() - due)
            if self.session.state == ENDED and self._is_unfinished():
                self._finishing = asyncio.create_task(self._finish(self.session))

    def _is_unfinished(self) -> bool:
        return self._finishing is None and not self.session.is_saved

    def pace_words(self) -> str:
        """Say how late frames were."""
        if not self.lags:
            return "pace: nothing ran"
        late = 1e3 * np.array(self.lags)
        return (
            f"pace: {len(late)} frames; lag {np.percentile(late, 50):.1f} ms at the median, "
            f"{np.percentile(late, 99):.1f} ms at the 99th percentile, {late.max():.1f} ms at most"
        )

    async def _finish(self, session: Session) -> None:
        """Replay a run that has ended, hand out its debrief, and save it."""
        try:
            found = await asyncio.to_thread(
                debrief, session.live.scenario, self.desk.known, self.desk.seed
            )
            path = self._save(session, found)
            self._debrief = {role: self._page(session, found, role, path) for role in ROLES}
            self.log.say(self.pace_words())
            at = {role: f"/{self.gate.tokens[role]}/{DEBRIEF}" for role in ROLES}
            self._send(lambda role: [{"kind": "debrief", "at": at[role]}])
        except InputError as problem:  # of a strategy, in the replay
            self.log.say(f"there is no debrief: {problem}")
            self._send(lambda role: [{"kind": "failed"}])
        finally:
            session.is_saved = True
            self._finishing = None

    def _save(self, session: Session, found: Debrief) -> Path | None:
        """Write the run, and the table of all; what cannot be written is told, and nothing lost."""
        desk, who, driven = self.desk, session.name, session.live.scenario
        title = f"{driven.title}; driven{f' by {who}' if who else ''}"
        files = run_files(driven, found.held.scenario if found.held else None, title)
        files["debrief.html"] = self._page(session, found)
        row = table_row(found, who, desk.lesson.name if desk.lesson else "", desk.known.reference)
        try:
            path = save_run(self.folder, files, row)
        except InputError as problem:
            self.log.say(f"the run could not be saved: {problem}")
            return None
        self.saved.append(path)
        self.log.say(f"saved in {path}: {found.headline}")
        try:
            write_table(self.folder)
        except InputError as problem:
            self.log.say(f"the table of the runs is not up to date: {problem}")
        return path

    def _page(
        self, session: Session, found: Debrief, role: str = "", folder: Path | None = None
    ) -> str:
        """Return the debrief as a page for a role, or to be kept beside the run."""
        own = ["--strategy", self.desk.known.reference, "--seed", str(self.desk.seed)]
        here = folder or Path()
        stop = ["slipbench", "stop", str(here / "run.toml"), *own]
        play = ["slipbench", "playback", str(here / "run.toml"), *own]
        play += ["--beside", str(here / "held.toml")] if found.held is not None else []
        note = ""
        if session.is_cut:
            note = (
                f"Ended by hand at {session.live.time:.0f} s; from there the handle is left where"
                " it was, and the train runs on."
            )
        return debrief_page(
            found,
            session.name,
            self.desk.lesson,
            repeat=[shlex.join(stop), shlex.join(play)],
            links=f"/{self.gate.tokens[role]}/" if role == DRIVE else "",
            rails=self.desk.rails,
            note=note,
        )


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, separators=(",", ":"), allow_nan=False)
