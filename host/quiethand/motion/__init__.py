"""From messages to motion: segments, times, scale, calibration, mount and rotation. Pure; no file, port or clock.

Uses `quiethand_protocol` and the set-up of `bow.model`.
"""
