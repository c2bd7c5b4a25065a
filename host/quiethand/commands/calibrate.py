"""`quiethand calibrate`: what sensor and bow are like, from recordings on a kitchen table, into the set-up file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from quiethand.errors import InputError

if TYPE_CHECKING:
    from quiethand.bow.model import Setup
    from quiethand.calibrate.faces import FacesResult
    from quiethand.commands.setup_edit import Change

F = TypeVar("F", bound=Callable[..., Any])


def _into_setup(command: F) -> F:
    command = click.option("--dry-run", is_flag=True, help="Show what would be written, and write nothing.")(command)
    return click.option(
        "--setup",
        "setup_file",
        type=click.Path(),
        help="The set-up file to write into; what was there is kept beside it.",
    )(command)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Calibrate a sensor and a bow on a kitchen table, in ten minutes; results go into the set-up file.

    \b
    In this order:
      quiethand calibrate still lying.qhr --setup bow.toml
      quiethand calibrate six-face faces.qhr --setup bow.toml
      quiethand calibrate mount poses.qhr --setup bow.toml
      quiethand calibrate inertia hung.qhr --axis yaw --cord-length "1.55 m" --spacing "40 cm" --setup bow.toml

    Each says what it found with standard uncertainties (k = 1), and refuses a recording that does not tell it.
    """


@command.command()
@click.argument("recording", type=click.Path(allow_dash=True))
@_into_setup
def still(recording: str, setup_file: str | None, dry_run: bool) -> None:
    """Gyro bias and noise, and the accelerometer's magnitude, of a sensor that lies still for 10 s or more.

    Lay it on a table the way it sits on a level bow (gyros feel gravity a little, so a bias holds best for the pose it
    was taken in), let it warm up for some minutes, start recording, and touch neither for 30 s.
    """
    import numpy as np

    from quiethand.calibrate.bias import still_bias
    from quiethand.commands.calibrate_input import cells_in_sensor_axes, naming, stated
    from quiethand.commands.calibrate_poses import off_level_deg
    from quiethand.commands.setup_edit import Change

    setup = _setup(setup_file, dry_run)
    cells = cells_in_sensor_axes(recording, setup)
    with naming(recording):
        found = still_bias(cells)
    bias, sigma = np.rad2deg(found.bias_rad_s), np.rad2deg(found.bias_sigma_rad_s)
    click.echo(f"{recording}: still for {found.duration_s:.1f} s from {found.start_s:.1f} s on")
    click.echo(_row("gyro bias", bias, 4, "deg/s", sigma))
    density = np.rad2deg(found.gyro_density)
    click.echo(_row("gyro noise", density, 4, "deg/s/sqrt(Hz)", density * found.density_share))
    accel = found.accel_density
    click.echo(_row("accelerometer noise", accel * 1e3, 2, "mm/s2/sqrt(Hz)", accel * 1e3 * found.density_share))
    share = found.magnitude_m_s2 / 9.80665 - 1
    click.echo(
        f"  accelerometer shows {found.magnitude_m_s2:.4f} ± {found.magnitude_sigma_m_s2:.4f} m/s2, "
        f"{100 * share:+.2f} % of standard gravity"
    )
    if abs(share) > 0.01:
        click.echo("  over 1 % off: run 'calibrate six-face'" if abs(share) < 0.2
                   else "  far off: check the stated units and accel_scale")  # fmt: skip
    tilt = off_level_deg(found.up, stated(recording, setup))
    if tilt is not None and tilt > 30:
        click.echo(
            f"  the sensor lay {tilt:.0f} deg off how it sits on a level bow: gyros feel gravity, "
            "by 0.05 to 0.2 deg/s; better lay it that way"
        )
    click.echo("  a bias holds for its day and temperature: shots' budgets count 0.05 deg/s for another day")
    remark = f"lying still {found.duration_s:.0f} s, good to {sigma.max():.3f} deg/s then"
    change = Change("sensor", "gyro_bias", [f"{b:.5f} deg/s" for b in bias], remark)
    _finish(setup_file, [change], dry_run)


@command.command("six-face")
@click.argument("recordings", nargs=-1, required=True, type=click.Path(allow_dash=True), metavar="RECORDING...")
@_into_setup
def six_face(recordings: tuple[str, ...], setup_file: str | None, dry_run: bool) -> None:
    """Offset, scale and cross-axis of the accelerometer from still poses, in one recording or several.

    Lay the sensor (in its box) on each of its six faces, 3 s each, letting go every time. For the cross-axis lean it
    on six of its edges too. The faces need not be true: only that gravity is the same in every pose is used.
    """
    import numpy as np

    from quiethand.calibrate.faces import fit_faces
    from quiethand.calibrate.stillness import ON_TABLE, refusal_hint, still_stretches
    from quiethand.commands.calibrate_input import cells_in_sensor_axes, naming

    setup = _setup(setup_file, dry_run)
    poses = []
    for name in recordings:
        cells = cells_in_sensor_axes(name, setup)
        found = still_stretches(cells, ON_TABLE, 1.0)
        if not found:
            raise InputError(
                f"holds no still pose of 1 s: {refusal_hint(cells, ON_TABLE)}", where=name,
                do="lay the sensor down, let go, wait 3 s, and turn it to the next face",
            )  # fmt: skip
        poses += [(name, pose) for pose in found]
    force = np.array([pose.force_m_s2 for _, pose in poses])
    with naming(recordings[0] if len(recordings) == 1 else f"{len(recordings)} recordings"):
        result = fit_faces(force, np.array([np.linalg.norm(pose.force_sigma_m_s2) for _, pose in poses]))
    click.echo(f"{len(poses)} still poses:")
    for number, ((name, pose), left) in enumerate(zip(poses, result.residual_m_s2, strict=True), 1):
        values = ", ".join(f"{v:8.3f}" for v in pose.force_m_s2)
        where = f"  {name}" if len(recordings) > 1 else ""
        click.echo(f"  {number:2d}  {pose.start_s:7.1f} to {pose.end_s:7.1f} s  {values} m/s2, left {left:+.4f}{where}")
    for line in _faces_lines(result):
        click.echo(line)
    _finish(setup_file, _faces_changes(result), dry_run)


def _faces_lines(result: FacesResult) -> list[str]:
    import numpy as np

    cross = result.matrix[[0, 0, 1], [1, 2, 2]]
    lines = [
        _row("offset", result.offset_m_s2, 4, "m/s2", result.offset_sigma_m_s2),
        _row("scale", np.diag(result.matrix), 5, "", result.scale_sigma),
    ]
    if result.cross_told:
        lines.append(_row("cross-axis", cross, 5, "(xy, xz, yz)", result.cross_sigma))
    else:
        lines.append("  cross-axis: not told by these poses, left at 0 ± 0.01; lean the sensor on six of its edges too")
    if result.spare > 0.5:
        rms = float(np.sqrt(np.sum(result.residual_m_s2**2) / result.spare))
        lines.append(f"  left over {1e3 * rms:.1f} mm/s2 rms, {result.spare:.0f} poses more than needed")
    else:
        lines.append("  six poses leave nothing over to check the fit by: a few more would")
    lines.append("  scale is against standard gravity, 9.80665 m/s2; where you are it differs by at most 0.3 %")
    return lines


def _faces_changes(result: FacesResult) -> list[Change]:
    from quiethand.commands.setup_edit import Change

    told = "" if result.cross_told else ", cross-axis not told"
    remark = f"{result.poses} still poses"
    offset = [f"{b:.5f} m/s^2" for b in result.offset_m_s2]
    matrix = [[round(float(v), 6) + 0.0 for v in row] for row in result.matrix]
    return [
        Change("sensor", "accel_offset", offset, f"{remark}, good to {result.offset_sigma_m_s2.max():.4f} m/s^2"),
        Change("sensor", "accel_matrix", matrix, f"{remark}, scale good to {result.scale_sigma.max():.5f}{told}"),
    ]


@command.command()
@click.argument("recording", type=click.Path(allow_dash=True))
@_into_setup
def mount(recording: str, setup_file: str | None, dry_run: bool) -> None:
    """How the sensor sits on the bow, from two still poses: level and upright, then nose straight down, 5 s each.

    Hold or prop the bow by a bubble level and a plumb line; a degree here is a degree of mixing between axes.
    """
    import numpy as np

    from quiethand.calibrate.mounting import mount_from_recording
    from quiethand.commands.calibrate_input import cells_in_sensor_axes, naming
    from quiethand.commands.setup_edit import Change

    setup = _setup(setup_file, dry_run)
    cells = cells_in_sensor_axes(recording, setup, accel_calibrated=True)
    with naming(recording):
        found = mount_from_recording(cells)
    for name, pose, (start, end) in (
        ("level", found.level_m_s2, found.level_s), ("nose down", found.down_m_s2, found.down_s)
    ):  # fmt: skip
        click.echo(f"  {name:<9} {start:7.1f} to {end:7.1f} s  {', '.join(f'{v:8.3f}' for v in pose)} m/s2")
    click.echo(f"  the poses stand at {90 + found.residual_deg:.2f} deg, {found.residual_deg:+.2f} against 90")
    q = found.quaternion
    click.echo(f"  mount x y z w = {', '.join(f'{v:.5f}' for v in q)}, ± {found.sigma_deg:.2f} deg about any axis")
    if abs(found.residual_deg) > 2:
        click.echo("  over 2 deg: hold the poses with more care, or run 'calibrate six-face' first")
    if found.sigma_deg > 0.75:
        click.echo("  shots' budgets count 0.5 deg for a stated mount, less than this one is good to")
    remark = f"two poses, {found.residual_deg:+.2f} deg against 90"
    change = Change("sensor", "mount", [round(float(v), 6) + 0.0 for v in np.asarray(q)], remark)
    _finish(setup_file, [change], dry_run)


@command.command()
@click.argument("recording", type=click.Path(allow_dash=True))
@click.option("--axis", type=click.Choice(["cant", "pitch", "yaw"]), required=True, help="The axis that hangs upright.")
@click.option("--mass", help='Of the bow as it hangs, sensor and all, as in "2.60 kg"; left out, the set-up\'s.')
@click.option("--cord-length", required=True, help='Of each cord, as in "1.55 m" or "1.550 m ± 2 mm".')
@click.option("--spacing", required=True, help='Between the cords, the same above and below, as in "40 cm ± 1 mm".')
@_into_setup
def inertia(
    recording: str, axis: str, mass: str | None, cord_length: str, spacing: str, setup_file: str | None, dry_run: bool
) -> None:
    """The bow's moment of inertia about one axis, from its swings on two cords. Once for each of the three axes.

    Hang it by two equal, parallel cords, its balance point midway between them: level and upright for yaw, lying on
    its side for pitch, its nose straight up or down for cant. Turn it about the upright axis by 10 deg, let go, record
    20 swings. Quantities may carry their standard uncertainty behind a ± (or +-).
    """
    from quiethand.bow.quantities import LENGTH
    from quiethand.calibrate.inertia import inertia_from_swings
    from quiethand.calibrate.swings import find_swings
    from quiethand.commands.calibrate_input import cells_in_sensor_axes, naming
    from quiethand.commands.calibrate_poses import check_axis
    from quiethand.commands.calibrate_quantities import CORD_SIGMA_M, SPACING_SIGMA_M, mass_of, measurand, shown
    from quiethand.commands.setup_edit import Change

    setup = _setup(setup_file, dry_run)
    cord = measurand(cord_length, LENGTH, "--cord-length", CORD_SIGMA_M)
    apart = measurand(spacing, LENGTH, "--spacing", SPACING_SIGMA_M)
    weight = mass_of(mass, setup)
    if not 0.02 < apart.value < 3 or not 0.1 < cord.value < 20 or not 0.05 < weight.value < 50:
        raise InputError(
            f"{weight.value:g} kg on cords of {cord.value:g} m, {apart.value:g} m apart", do="check the units",
            where="--mass, --cord-length, --spacing",
        )  # fmt: skip
    cells = cells_in_sensor_axes(recording, setup, accel_calibrated=True)
    with naming(recording):
        swings = find_swings(cells)
        checked = check_axis(axis, swings.up, setup, recording)
        found = inertia_from_swings(swings, weight, cord, apart)
    click.echo(
        f"{recording}: {swings.swings:.1f} swings from {swings.start_s:.1f} to {swings.end_s:.1f} s, "
        f"{swings.amplitude_deg:.1f} deg at first, {100 * swings.left_over:.1f} % no damped sine"
    )
    click.echo(
        f"  period {swings.period_s:.5f} s, of small undamped swings {found.small_period_s:.5f} "
        f"± {found.small_period_sigma_s:.5f} s"
    )
    click.echo(f"  mass {shown(weight, 'kg')}, cords {shown(cord, 'm')}, {shown(apart, 'm')} apart")
    click.echo(f"  inertia about {axis}: {found.inertia_kg_m2:.5f} ± {found.sigma_kg_m2:.5f} kg m2")
    shares = sorted(found.shares.items(), key=lambda item: -item[1])
    click.echo("  of its variance: " + ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares))
    if not checked:
        click.echo("  no mount stated: whether the bow hung for this axis cannot be told; run 'calibrate mount' first")
    remark = f"{swings.swings:.0f} swings, ± {found.sigma_kg_m2:.4f} kg m^2"
    _finish(setup_file, [Change("bow", "inertia", f"{found.inertia_kg_m2:.5f} kg m^2", remark, axis=axis)], dry_run)


def _row(name: str, values: Sequence[float] | Any, digits: int, unit: str, sigmas: Any) -> str:
    shown = ", ".join(f"{v:.{digits}f} ± {s:.{digits}f}" for v, s in zip(values, sigmas, strict=True))
    return f"  {name}: {shown} {unit}".rstrip()


def _setup(setup_file: str | None, dry_run: bool) -> Setup | None:
    if setup_file is None:
        if not dry_run:
            raise click.UsageError("name the set-up file to write into with --setup FILE, or add --dry-run")
        return None
    from quiethand.bow.setup_file import read_setup

    return read_setup(Path(setup_file))


def _finish(setup_file: str | None, changes: Sequence[Change], dry_run: bool) -> None:
    """Write, or show what would be written."""
    from quiethand.commands.setup_edit import plan_edit, write_edit

    if setup_file is None:
        for change in changes:
            axis = "" if change.axis is None else f".{change.axis}"
            click.echo(f"would write {change.table}.{change.key}{axis} = {change.value}")
        return
    edit = plan_edit(setup_file, changes)
    if dry_run:
        for line in edit.lines:
            click.echo(f"would write {line}")
        return
    kept = write_edit(edit)
    click.echo(f"{setup_file}: written; as it was before: {kept}")
