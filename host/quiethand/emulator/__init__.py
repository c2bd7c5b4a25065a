"""A sensor and an archer in software, to try everything above the wire format without hardware and with known truth.

Shares no physics with the analysis and is imported by none of it; only commands, benches and tests may.
"""

from quiethand.emulator.device import Device
from quiethand.emulator.habits import HABITS
from quiethand.emulator.recording import write_csv, write_recording, write_text
from quiethand.emulator.scenario import Faults, Scenario
from quiethand.emulator.setup_document import setup_document, setup_toml
from quiethand.emulator.text_device import TextDevice
from quiethand.emulator.truth import NuisanceTruth, ShotTruth, Truth

__all__ = [
    "HABITS",
    "Device",
    "Faults",
    "NuisanceTruth",
    "Scenario",
    "ShotTruth",
    "TextDevice",
    "Truth",
    "setup_document",
    "setup_toml",
    "write_csv",
    "write_recording",
    "write_text",
]
