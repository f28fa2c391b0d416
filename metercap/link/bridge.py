"""A serial port behind a bridge on the network: rfc2217://HOST:PORT.

The protocol (RFC 2217, over Telnet, RFC 854) is pyserial's; here are its bounds. Its client knows no limit for writing
and takes none, holds whatever the other side sends, and lets its thread die by what it does not understand. Whatever
listens at that address may be no bridge at all, so a write has its limit here, what is held has one too, and what
cannot be understood ends the connection with a reason.
"""

from __future__ import annotations

import contextlib
import queue
import socket
import warnings
from typing import Any

import serial
from serial import rfc2217

from metercap.errors import LinkError
from metercap.link.trouble import SettingRefused

MOST_HELD = 65_536
"""Bytes of the meter's that wait to be read; beyond that the bridge has to wait."""
MOST_UNHEARD = 65_536
"""Bytes that may come without one of them being the meter's or ending a command: no bridge says so much."""
WAIT_S = 0.1
SHOWN_BYTES = 24
KEEPALIVE = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 5, "TCP_KEEPCNT": 3}
"""Seconds of silence before the system asks whether the bridge is there, between questions, and how many (RFC 9293,
3.8.4): a network cable that was pulled says nothing by itself."""

CLOSED = "the other side closed the connection"
LINE = ("datasize", "parity", "stopsize")
"""Settings besides the baud rate: eight bits may hold what these would have made of a byte."""
_WORDS = {"baudrate": "baud rate", "datasize": "data bits", "parity": "parity", "stopsize": "stop bits"}


class BridgePort(rfc2217.Serial):  # type: ignore[misc]
    """pyserial's client with bounds. LinkError when it cannot be opened, OSError when it is lost."""

    def __init__(self, write_wait_s: float, **settings: Any) -> None:
        self._write_wait_s = write_wait_s
        self._ended = ""
        self._over = False
        self._socket: Any = None
        super().__init__(**settings)

    def open(self) -> None:
        """Connect, agree on the protocol and set the line."""
        self._ended, self._over = "", False
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # how it names its thread
                super().open()
        except (OSError, ValueError) as error:  # pyserial's own is an OSError
            if (refused := self._refused(error)) is None:
                raise
            raise refused from error
        self._keep_alive()

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes: what there is, or the first that comes in time. OSError when no more can come.

        pyserial's own forgets what had come before the end.
        """
        data = bytearray()
        with contextlib.suppress(queue.Empty):
            while len(data) < size and not self._over:
                one = self._read_buffer.get(timeout=0.0 if data else self.timeout)
                if one is None:
                    self._over = True
                else:
                    data += one
        if self._over and not data:
            raise OSError(self._ended or CLOSED)
        return bytes(data)

    def close(self) -> None:
        """Close the connection, also where the other side was first: pyserial's own then leaves the socket open."""
        ours = self._socket
        super().close()
        if ours is not None:
            with contextlib.suppress(OSError):
                ours.close()

    def rfc2217_send_purge(self, value: bytes) -> None:
        """Ask for old bytes to be dropped, and wait for no answer: not every bridge gives one."""
        self._rfc2217_options["purge"].set(value)

    def reset_input_buffer(self) -> None:
        """Drop what has come so far, and not what goes on coming."""
        self.rfc2217_send_purge(rfc2217.PURGE_RECEIVE_BUFFER)
        for _ in range(self._read_buffer.qsize()):
            self._read_buffer.get(False)

    # What its reading thread calls

    def _telnet_read_loop(self) -> None:
        self._read_buffer = _Held(self)
        self._socket.settimeout(self._write_wait_s)  # of sending as well, in all
        self._socket = _Counted(self._socket)
        try:
            super()._telnet_read_loop()
            why = CLOSED
        except Exception as error:  # its thread would print a traceback, and nobody would learn why
            why = f"the other side does not keep to RFC 2217 ({error or type(error).__name__})"
        if self.is_open:
            self._ended = why
            self._read_buffer.put(None)

    def _telnet_process_subnegotiation(self, suboption: bytes) -> None:
        self._socket.unheard = 0
        super()._telnet_process_subnegotiation(suboption)

    def _telnet_process_command(self, command: bytes) -> None:
        self._socket.unheard = 0
        super()._telnet_process_command(command)

    # What went wrong

    def _refused(self, error: Exception) -> Exception | None:
        """Return, for pyserial's words while opening, what the person can do about them; None for any address's."""
        where, text = str(self.port), str(error)
        if "unknown option" in text or "expected a string" in text:
            hint = "rfc2217://HOST:PORT, rfc2217://HOST:PORT?ign_set_control or ?timeout=SECONDS"
            return LinkError("there is no such option of this address", where=where, hint=hint)
        if isinstance(error.__context__, OSError) and "Could not open" in text:
            return None  # no connection
        if self._ended or not isinstance(error, serial.SerialException | ValueError):
            hint = "is another program connected to it? Some bridges take only one; switch it off and on"
            return LinkError(self._ended or CLOSED, where=where, hint=hint)
        if "support RFC2217" in text or not any(one.active for one in self._telnet_options if "RFC2217" in one.name):
            said = b"".join(one for one in self._read_buffer.queue if one)[:SHOWN_BYTES]
            what = f"this is no serial bridge that speaks RFC 2217; it says {said!a}" if said else ""
            hint = "turn RFC 2217 on at the bridge, or set the line there and use socket://HOST:PORT"
            return LinkError(what or "nothing there speaks RFC 2217", where=where, hint=hint)
        option = next((name for name in _WORDS if f"{name!r}" in text), "")
        if option in LINE and "rejected" in text:
            return SettingRefused(_WORDS[option])
        if option or "parameter change" in text:
            what = f"the bridge does not take the meter's {_WORDS.get(option, 'settings')}"
            if option == "baudrate":
                what += f", {self.baudrate}"
            return LinkError(what, where=where, hint="set the line at the bridge, and use socket://HOST:PORT")
        if "control" in text:
            mark = "&" if "?" in where else "?"
            hint = f"{where}{mark}ign_set_control, where DTR and RTS do not matter"
            return LinkError("the bridge does not say that it has set DTR and RTS", where=where, hint=hint)
        return None

    def _keep_alive(self) -> None:
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in KEEPALIVE.items():
            if hasattr(socket, name):
                self._socket.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


class _Held(queue.Queue[bytes | None]):
    """What waits to be read: when it is full the other side has to wait, as long as anybody may still read."""

    def __init__(self, port: BridgePort) -> None:
        super().__init__(MOST_HELD)
        self._port = port

    def put(self, item: bytes | None, block: bool = True, timeout: float | None = None) -> None:
        self._port._socket.unheard = 0
        while self._port.is_open:
            try:
                return super().put(item, timeout=WAIT_S)
            except queue.Full:
                pass


class _Counted:
    """The socket, counting what came since something was heard in it: a command without an end has no end."""

    def __init__(self, real: socket.socket) -> None:
        self._real = real
        self.unheard = 0

    def __getattr__(self, name: str) -> Any:
        return getattr(self._real, name)

    def recv(self, size: int) -> bytes:
        """Return what came. ValueError when too much of it meant nothing."""
        data = self._real.recv(size)
        self.unheard += len(data)
        if self.unheard > MOST_UNHEARD:
            raise ValueError("a command that does not end")
        return data
