"""`quiethand noise`: the Allan deviation of a still sensor, and whether shots' uncertainties assume the right noise."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.calibrate.noise import AxisNoise, SensorNoise

_WINDOW_S: Final = 0.015  # a usual time on the string
_ALIKE: Final = 1.4  # within this factor of each other two figures of noise say the same


@click.command()
@click.argument("recording", type=click.Path())
@click.option("--setup", "setup_file", type=click.Path(), help="Set-up file (TOML), for units that a stream lacks.")
@click.option(
    "--plot", type=click.Path(), help="Write the deviation as a figure: .html, or .svg and .png with kaleido."
)
@click.option("--force", is_flag=True, help="Overwrite the plot if it is there.")
def command(recording: str, setup_file: str | None, plot: str | None, force: bool) -> None:
    """Allan deviation of the longest still stretch, and what is read off it, against what uncertainties assume.

    Lay the sensor on something heavy, away from draught and steps, for 10 min; for its bias instability some hours.

    \b
    Examples:
      quiethand noise night.qhr
      quiethand noise night.qhr --plot night.html
    """
    from quiethand.calibrate.noise import sensor_noise, still_for_noise
    from quiethand.commands.calibrate_input import cells_in_sensor_axes, naming, open_in_sensor_axes

    if recording == "-":
        raise click.UsageError("the recording is read twice: name a file, not standard input")
    if plot is not None:
        from quiethand.commands.noise_plot import check_plot

        check_plot(plot, force)
    setup: Setup | None = None
    if setup_file is not None:
        from quiethand.bow.setup_file import read_setup

        setup = read_setup(Path(setup_file))
    cells = cells_in_sensor_axes(recording, setup)
    with naming(recording):
        still = still_for_noise(cells)
    noise = sensor_noise(cells, still, open_in_sensor_axes(recording, setup))
    click.echo(f"{recording}: still for {noise.duration_s:.1f} s from {noise.start_s:.1f} s on")
    for line in figures_lines(noise):
        click.echo(line)
    click.echo("Against what a shot's uncertainty assumes:")
    for line in against_budget(noise):
        click.echo(f"  {line}")
    if plot is not None:
        from quiethand.commands.noise_plot import noise_figure, write_plot

        write_plot(noise_figure(noise, f"Allan deviation, {Path(recording).name}"), plot)
        click.echo(f"{plot}: written")


def figures_lines(noise: SensorNoise) -> Iterator[str]:
    """One line for each axis, and what could not be read once."""
    import numpy as np

    yield "  white noise as data sheets have it (one-sided), bias instability and where the deviation is lowest:"
    for name, axis in noise.axes.items():
        gyro = name.startswith("gyro")
        factor, unit = (float(np.rad2deg(1.0)), "deg/s") if gyro else (1e3, "mm/s2")
        yield f"  {name}  {_axis_words(axis, factor, unit)}"
    axes_of: dict[str, list[str]] = {}
    for name, axis in noise.axes.items():
        for note in axis.figures.notes:
            axes_of.setdefault(note, []).append(name)
    for note, names in axes_of.items():
        yield f"  note, {', '.join(names)}: {note}"


def _axis_words(axis: AxisNoise, factor: float, unit: str) -> str:
    figures = axis.figures
    white = "not told" if figures.white is None else f"{figures.white * 2**0.5 * factor:.4g} {unit}/sqrt(Hz)"
    if figures.bias_instability is None or figures.bias_instability_tau_s is None:
        low = "not reached"
    else:
        low = f"{figures.bias_instability * factor:.3g} {unit}, lowest at {figures.bias_instability_tau_s:.3g} s"
    walk = "" if figures.random_walk is None else f", random walk {figures.random_walk * factor:.3g} {unit}/sqrt(s)"
    return f"white {white}; bias instability {low}{walk}"


def against_budget(noise: SensorNoise) -> Iterator[str]:
    """The budget's assumptions beside what this recording shows, in plain words."""
    import numpy as np

    from quiethand.shots.budget import acceleration_sensitivity, integrated_noise
    from quiethand.shots.still import BIAS_FLOOR_RAD_S, BIAS_WALK_RAD_S_SQRT_S

    sample = np.array([noise.axes[f"gyro {letter}"].sample_sigma for letter in "xyz"])
    reckoned = float(np.rad2deg(integrated_noise(sample, _WINDOW_S, noise.period_s, noise.gyro_bandwidth_hz).max()))
    white = noise.worst("gyro", "white")
    head = f"noise of the angle over {1e3 * _WINDOW_S:g} ms: the budget would state {1e3 * reckoned:.3g} mdeg"
    if white is None:
        yield f"{head}; this recording shows no plain white noise to hold it against"
    else:
        shown = float(np.rad2deg(white)) * _WINDOW_S**0.5
        yield f"{head}, the deviation shows {1e3 * shown:.3g}: {_judged(reckoned, shown)}"
    instability = noise.worst("gyro", "bias_instability")
    floor = float(np.rad2deg(BIAS_FLOOR_RAD_S))
    head = f"bias, known from seconds of rest: the budget assumes {1e3 * floor:.3g} mdeg/s at best"
    if instability is None:
        yield f"{head}; record for longer to see this sensor's bias instability"
    else:
        shown = float(np.rad2deg(instability))
        yield f"{head}, this sensor's bias instability is {1e3 * shown:.3g}: {_judged(floor, shown)}"
    walk = noise.worst("gyro", "random_walk")
    assumed = float(np.rad2deg(BIAS_WALK_RAD_S_SQRT_S))
    head = f"bias, between rests: the budget lets it walk {1e3 * assumed:.3g} mdeg/s per root second"
    if walk is None:
        yield f"{head}; this recording shows no walk"
    else:
        shown = float(np.rad2deg(walk))
        yield f"{head}, this sensor walks {1e3 * shown:.3g}: {_judged(assumed, shown)}"
    felt = float(np.rad2deg(acceleration_sensitivity(sample, noise.period_s, noise.gyro_bandwidth_hz))) * 9.80665
    yield f"acceleration felt by the gyro: assumed {felt:.3g} deg/s per g for a gyro of this noise; rest cannot show it"


def _judged(assumed: float, shown: float) -> str:
    if assumed > _ALIKE * shown:
        return f"the budget is on the safe side, by a factor of {assumed / max(shown, 1e-12):.1f}"
    if shown > _ALIKE * assumed:
        return f"the budget says too little, by a factor of {shown / assumed:.1f}"
    return "they agree"
