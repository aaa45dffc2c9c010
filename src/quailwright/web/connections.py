"""Connections that are given up: clients that are slow on purpose hold none open for long.

uvicorn waits without end for a request that has begun to come, and for a client that reads no more.
"""

import asyncio
import sys
from collections import Counter
from typing import ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WITHIN_S, BODY_WITHIN_S, STALLED_FOR_S = 20.0, 120.0, 60.0
"""So long a request's head may take, then its body; so long an answer may wait to be read on."""
MOST_FROM_ONE, MOST_UNFINISHED = 64, 400
"""Open connections of one address, but of this computer itself, and of a server before us; and
those, of all addresses, of which no whole request has come: of more the oldest goes."""
_HERE = ("", "127.0.0.1", "::1")


class _OneReading(h11.Connection):
    """Refuses requests whose end two servers could see in two places, which h11 lets through.

    With both fields, or with one that HTTP/1.0 does not know, a server in front may take for the
    body of one request what is another to us, from whoever comes next (RFC 9112, section 6.1).
    """

    def next_event(self) -> h11.Event | type[h11.NEED_DATA] | type[h11.PAUSED]:
        event = super().next_event()
        if isinstance(event, h11.Request):
            names = {name for name, _ in event.headers}
            if b"transfer-encoding" in names and (
                b"content-length" in names or event.http_version < b"1.1"
            ):
                raise h11.RemoteProtocolError("the end of the body is told in two ways")
        return event


class Patient(H11Protocol):
    """Speaks HTTP as uvicorn does, with an end to its patience."""

    most_from_one: ClassVar[int] = MOST_FROM_ONE
    _of_address: ClassVar[Counter[str]] = Counter()
    _unfinished: ClassVar[dict["Patient", None]] = {}

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Counts the connection, or ends it where its address has too many."""
        super().connection_made(transport)
        self.conn = _OneReading(h11.SERVER)
        self._ends: asyncio.TimerHandle | None = None
        self._stalled: asyncio.TimerHandle | None = None
        self._address = self.client[0] if self.client is not None else ""
        self._of_address[self._address] += 1
        if self._address not in _HERE and self._of_address[self._address] > self.most_from_one:
            transport.abort()
            return
        self._wait(HEAD_WITHIN_S)
        if len(self._unfinished) > MOST_UNFINISHED:
            next(iter(self._unfinished)).transport.abort()

    def data_received(self, data: bytes) -> None:
        """Goes on, and looks how far the request has come."""
        head_was_there = self.conn.their_state is h11.SEND_BODY
        super().data_received(data)
        state = self.conn.their_state
        if state is h11.IDLE:
            if self._ends is None:
                self._wait(HEAD_WITHIN_S)
        elif state is h11.SEND_BODY:
            if not head_was_there:
                self._wait(BODY_WITHIN_S)
        else:
            self._rest()

    def pause_writing(self) -> None:
        """The client does not read: it is given a while."""
        super().pause_writing()
        self._stalled = self.loop.call_later(STALLED_FOR_S, self.transport.abort)

    def resume_writing(self) -> None:
        """It reads on."""
        super().resume_writing()
        self._read_on()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forgets the connection."""
        super().connection_lost(exc)
        self._rest()
        self._read_on()
        self._of_address[self._address] -= 1
        if self._of_address[self._address] <= 0:
            del self._of_address[self._address]

    def _wait(self, seconds: float) -> None:
        self._rest()
        self._unfinished[self] = None
        self._ends = self.loop.call_later(seconds, self.transport.abort)

    def _rest(self) -> None:
        self._unfinished.pop(self, None)
        if self._ends is not None:
            self._ends.cancel()
            self._ends = None

    def _read_on(self) -> None:
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None


class PatientBehind(Patient):
    """The same behind a server in front, from whose address all come: it counts its clients."""

    most_from_one = sys.maxsize
