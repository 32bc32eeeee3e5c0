"""A real server in a process of its own, and a client that sends as the pages' scripts do."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import httpx
import numpy as np

from crowlight.wiring.failpoints import VARIABLE

__all__ = ["Sender", "Server"]

#: How long a server may take to listen, on a machine that others use too [s].
_PATIENCE = 120.0


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


class Server:
    """``crowlight serve`` on one port, started again whenever it has ended.

    Parameters
    ----------
    folder : Path
        The records.
    end_at : sequence of str
        The moment at which each process in turn ends; those after have none.
    """

    def __init__(self, folder: Path, *, end_at: Sequence[str] = ()) -> None:
        self.folder = folder
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.ends: list[int] = []  # how its processes ended
        self.starts = 0  # how many of them listened
        self._process: subprocess.Popen[bytes] | None = None
        self._end_at = list(end_at)

    def __enter__(self) -> Server:
        try:
            self.start()
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def start(self) -> None:
        environment = {k: v for k, v in os.environ.items() if k != VARIABLE}
        if self._end_at:
            environment[VARIABLE] = self._end_at.pop(0)
        command = [sys.executable, "-m", "crowlight", "--folder", str(self.folder), "serve"]
        self._process = subprocess.Popen(
            [*command, "--port", str(self.port), "--no-browser"],
            env=environment,
            stdout=subprocess.DEVNULL,
        )
        self._wait()

    def _wait(self) -> None:
        assert self._process is not None
        until = time.monotonic() + _PATIENCE
        while time.monotonic() < until:
            with socket.socket() as asked:
                if asked.connect_ex(("127.0.0.1", self.port)) == 0:
                    self.starts += 1
                    return
            assert self._process.poll() is None, "the server ended before it listened"
            time.sleep(0.02)
        msg = "the server does not listen"
        raise TimeoutError(msg)

    def kill(self) -> None:
        """End the process as a power cut would."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)

    def revive(self) -> None:
        """Start the server again if its process has ended; wait a moment for that."""
        assert self._process is not None
        try:
            self.ends.append(self._process.wait(timeout=1.0))
        except subprocess.TimeoutExpired:
            return  # it lives: the connection was lost for another reason
        self.start()


class Sender:
    """Keeps what it sends until the server has confirmed it, as `outbox.js` and `takes.js` do.

    Parameters
    ----------
    server : Server
        Started again when it does not answer.
    """

    def __init__(self, server: Server) -> None:
        self._server = server
        self._client = httpx.Client(base_url=server.address, timeout=60.0)
        self._token = ""
        self.tries = 0

    def close(self) -> None:
        self._client.close()

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        """Ask until there is an answer."""
        for _ in range(100):
            try:
                self.tries += 1
                return self._client.request(method, path, **more)
            except httpx.TransportError:
                self._server.revive()
        msg = f"no answer to {method} {path}"
        raise AssertionError(msg)

    def write(self, path: str, fields: Mapping[str, str]) -> UUID:
        """Send a form until it is written down; return the uuid of the entry."""
        page = self.ask("GET", path)
        assert page.status_code == 200, page.text[:500]
        hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page.text))
        sent = {**hidden, **fields}
        while True:
            answer = self.ask("POST", path, data=sent, headers={"crowlight-then": "1"})
            if answer.status_code == 200:
                assert answer.json()["then"].startswith("/reeds/")
                return UUID(sent["uuid"])
            assert answer.status_code == 403, answer.text[-1500:]
            sent["token"] = re.findall(r'name="token" value="([^"]*)"', answer.text)[0]

    def record(self, reed: str, blocks: Sequence[np.ndarray], *, rate: int, begun_at: str) -> UUID:
        """Send a take chunk by chunk until it is kept; return its uuid."""
        take = uuid4()
        base = f"{reed}/takes/{take}"
        head = {"sound_of": "crow", "rate": rate, "channels": 1, "begun_at": begun_at}
        frames = sum(len(b) for b in blocks)
        while True:
            state = self._act("POST", base, json=head)
            if "kept" in state:
                return take
            for number, block in enumerate(blocks):
                if number not in state["chunks"]:
                    answer = self._act("PUT", f"{base}/{number}", content=block.tobytes())
                    assert answer in ({"held": number}, {"kept": answer.get("kept")})
            ended = {"chunks": len(blocks), "frames": frames}
            if "kept" in self._act("POST", f"{base}/finish", json=ended):
                return take

    def _act(self, method: str, path: str, **more: Any) -> dict[str, Any]:
        while True:
            answer = self.ask(method, path, headers={"crowlight-token": self._token}, **more)
            said = answer.json()
            if answer.status_code == 403:
                self._token = said["token"]
                continue
            assert answer.status_code == 200, said
            return said
