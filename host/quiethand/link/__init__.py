"""Bytes in and out: files, serial ports, sockets, the recorder. Knows bytes and frames, nothing of shots."""
