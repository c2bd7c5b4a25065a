"""Finding shots in motion and measuring them: release, departure, rotation, torque, hold, follow-through.

Pure: arrays and frozen dataclasses in, the same out. Uses `motion` and `bow`; knows nothing of files, ports or stores.
"""
