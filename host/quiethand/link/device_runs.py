"""What a device's bytes become in a recording: themselves, but for frames that only the host may write.

Pure. A run is what stands between two delimiters (0x00) *in the file*: one that the recorder cut off by a delimiter of
its own is judged as it stands there, and so is what follows it.
"""

from __future__ import annotations

from typing import Final

from quiethand_protocol.framing import RUN_LIMIT_RECORDING, BadRunError, decode_run

__all__ = ["DeviceRuns"]

_FIRST_HOST_TYPE: Final = 0x80


class DeviceRuns:
    """Binary bytes from a device, on their way to the file.

    Bytes pass at once, save in a run whose type byte says that only the host may write it (or has not come yet): that
    is held until its end shows whether it is such a frame, which is dropped, or bytes that merely look like one.

    Attributes:
        host_frames: frames dropped.
        run_bytes: bytes of the unfinished run that the file already has; 0: the file stands behind a delimiter.
    """

    def __init__(self) -> None:
        self.host_frames = 0
        self.run_bytes = 0
        self._held = bytearray()

    def feed(self, data: bytes) -> tuple[bytes, bytes]:
        """What may be written now: up to the last delimiter (b"" if there is none), and what follows it."""
        out = bytearray()
        behind_delimiter = 0
        at = 0
        while at < len(data):
            zero = data.find(0, at)
            end = len(data) if zero < 0 else zero
            self._held += data[at:end]
            if self.run_bytes or zero >= 0 or not self._may_be_host_frame():
                if not (zero >= 0 and not self.run_bytes and self._is_host_frame()):
                    out += self._held
                    self.run_bytes += len(self._held)
                    if zero >= 0:
                        out.append(0)
                self._held.clear()
            if zero >= 0:
                self.run_bytes = 0
                behind_delimiter = len(out)
            at = end + 1
        return bytes(out[:behind_delimiter]), bytes(out[behind_delimiter:])

    def cut(self) -> bytes:
        """What must be written so that the file stands behind a delimiter: the rest of the run and a 0x00, or b""."""
        held = bytes(self._held)
        if not self.run_bytes and (not held or self._is_host_frame()):
            self._held.clear()
            return b""
        self._held.clear()
        self.run_bytes = 0
        return held + b"\0"

    def _may_be_host_frame(self) -> bool:
        # The first byte of a run is COBS's code: 1 says that the type byte is 0x00, any other that it comes next.
        held = self._held
        if len(held) > RUN_LIMIT_RECORDING:  # no reader takes it for a frame
            return False
        return bool(held) and held[0] != 1 and (len(held) == 1 or held[1] >= _FIRST_HOST_TYPE)

    def _is_host_frame(self) -> bool:
        if not self._may_be_host_frame():
            return False
        try:
            body = decode_run(bytes(self._held))
        except BadRunError:
            return False
        if body[0] < _FIRST_HOST_TYPE:
            return False
        self.host_frames += 1
        return True
