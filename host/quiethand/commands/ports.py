"""`quiethand ports`: which serial ports there are."""

from __future__ import annotations

import click


@click.command()
def command() -> None:
    """List serial ports with what is known of each and which one looks like a sensor.

    Exit status: 0 a port that looks like a sensor; 1 none.
    """
    from quiethand.link.ports import list_ports

    ports = list_ports()
    if not ports:
        click.echo("no serial port; plug the sensor in, or use socket://host:port for one on the network")
    for port in ports:
        known = [port.description, port.maker, port.usb_id, port.serial_number and f"serial {port.serial_number}"]
        sensor = "looks like a sensor: " if port.looks_like_sensor else ""
        click.echo(f"{port.name}  {sensor}{', '.join(part for part in known if part) or 'nothing is known of it'}")
    if not any(port.looks_like_sensor for port in ports):
        raise click.exceptions.Exit(1)
