"""What of a device's bytes may go into a recording: all, verbatim, but for frames that would pass as the host's own.

A run is held back only while it may still be one: the second byte of a run decides that for nearly every one.
"""

from __future__ import annotations

from quiethand_protocol.framing import RUN_LIMIT_RECORDING, BadRunError, decode_run

__all__ = ["DeviceGate"]


class DeviceGate:
    """Stands between a device's bytes in binary mode and the file.

    Attributes:
        host_frames: frames of a host's type that the device sent, dropped.
        bytes_dropped: bytes in these, delimiters included.
    """

    def __init__(self) -> None:
        self.host_frames = self.bytes_dropped = 0
        self._held = bytearray()
        self._passing = False  # the run begun has been let through as far as it came

    @property
    def at_delimiter(self) -> bool:
        """Whether a host frame may be appended to the file now."""
        return not self._passing and not self._held

    def feed(self, data: bytes) -> bytes:
        """Take the device's next bytes; give those to append to the file now, in their order."""
        data = bytes(data)
        passed: list[bytes] = []
        at = 0
        while at < len(data):
            end = data.find(0, at) + 1
            piece = data[at : end or len(data)]
            at += len(piece)
            if self._passing:
                passed.append(piece)
                self._passing = not end
                continue
            self._held += piece
            if end:
                passed.append(self._judged(bytes(self._held)))
                self._held.clear()
            elif not _may_be_host(self._held):
                passed.append(bytes(self._held))
                self._held.clear()
                self._passing = True
        return b"".join(passed)

    def close_run(self) -> bytes:
        """End the run begun with the recorder's own 0x00: what to append so that a host frame may follow.

        The run is judged as it will stand in the file, so one that this very 0x00 makes a host's frame is dropped.
        """
        if self._passing:
            self._passing = False
            return b"\0"
        held = bytes(self._held)
        self._held.clear()
        return self._judged(held + b"\0") if held else b""

    def _judged(self, frame: bytes) -> bytes:
        if len(frame) - 1 > RUN_LIMIT_RECORDING or not _may_be_host(frame):
            return frame
        try:
            decode_run(frame[:-1])
        except BadRunError:
            return frame
        self.host_frames += 1
        self.bytes_dropped += len(frame)
        return b""


def _may_be_host(run: bytes | bytearray) -> bool:
    """Whether the run so far may become a frame of type 0x80 and over: after a code byte of 2 or more, a high byte."""
    if len(run) > RUN_LIMIT_RECORDING + 1 or run[0] == 1:
        return False
    return len(run) < 2 or run[1] >= 0x80
