"""One short evening of invented shooting, in every form that a recording can have."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from quiethand.emulator import Scenario, Truth, setup_document, setup_toml, write_csv, write_recording, write_text

SCENARIO: Final = Scenario(seed=21, rate_hz=2000.0, shots=2, every_s=9.0)


@dataclass(frozen=True)
class Evening:
    """Paths of the same shots in each form, and what is true of them."""

    qhr: Path
    csv_deg: Path
    csv_si: Path
    text: Path
    setup: Path
    setup_with_delays: Path  # for the forms that cannot carry them
    truth: Truth


def shoot(folder: Path) -> Evening:
    """Write every form into `folder`."""
    setup, with_delays = folder / "setup.toml", folder / "delays.toml"
    setup.write_text(setup_toml(setup_document(SCENARIO)), encoding="utf-8")
    with_delays.write_text(setup_toml(setup_document(SCENARIO, delays=True)), encoding="utf-8")
    qhr, degrees, si, text = (folder / name for name in ("evening.qhr", "deg.csv", "si.csv", "evening.txt"))
    truth = write_recording(qhr, SCENARIO)
    write_csv(degrees, SCENARIO, units="deg_g")
    write_csv(si, SCENARIO, units="si")
    write_text(text, SCENARIO)
    return Evening(qhr, degrees, si, text, setup, with_delays, truth)
