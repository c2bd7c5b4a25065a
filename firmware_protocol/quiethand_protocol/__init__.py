"""The motion stream in Python: framing, messages, and parsers without I/O."""
