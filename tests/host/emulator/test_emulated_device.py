"""The device keeps the wire format's rules, one by one, and breaks the link only as it was asked to."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import pytest
from quiethand.emulator import Device, Faults, Scenario, TextDevice
from quiethand.emulator.device import BOOT_MESSAGE
from quiethand.errors import InputError
from quiethand_protocol import (
    Blocks,
    Command,
    CommandCode,
    Description,
    Event,
    Health,
    Item,
    Located,
    Parser,
    Reply,
    Result,
    Trouble,
    encode,
)

T = TypeVar("T")
START = encode(Command(2, CommandCode.START))


def parse(data: bytes) -> list[Item]:
    parser = Parser("device")
    return [*parser.feed(data), *parser.finish()]


def of(kind: type[T], items: list[Item]) -> list[T]:
    return [item.message for item in items if isinstance(item, Located) and isinstance(item.message, kind)]


def samples(items: list[Item]) -> tuple[np.ndarray, ...]:
    blocks = [item for item in items if isinstance(item, Blocks)]
    return tuple(np.concatenate([getattr(b, n) for b in blocks]) for n in ("index", "ticks", "count", "status"))


def streamed(scenario: Scenario, seconds: float, step: float = 0.25, **more: int) -> tuple[Device, list[Item]]:
    device = Device(scenario, **more)
    data = device.step(0.0, START)
    for n in range(1, round(seconds / step) + 1):
        data += device.step(n * step)
    return device, parse(data)


def ask(device: Device, now_s: float, *commands: Command) -> list[Item]:
    return parse(device.step(now_s, b"".join(encode(command) for command in commands)))


def test_says_what_it_is_and_nothing_more_until_start() -> None:
    device = Device(Scenario(sensor="cheap"))
    first = parse(device.step(0.0))
    assert [type(item.message) for item in first if isinstance(item, Located)] == [Description]
    assert b"".join(device.step(0.1 * n) for n in range(1, 150)) == b""
    answer = ask(device, 20.0, Command(9, CommandCode.DESCRIBE))
    (reply,) = of(Reply, answer)
    assert len(of(Description, answer)) == 1
    assert (reply.request, reply.command, reply.result) == (9, CommandCode.DESCRIBE, Result.OK)


def test_reply_has_the_ticks_of_its_command() -> None:
    device = Device(Scenario(faults=Faults(clock_ppm=200.0)))
    (reply,) = of(Reply, ask(device, 50.0, Command(3, CommandCode.CLOCK)))
    assert reply.ticks == round(50.0 * 1e6 * 1.0002)


@pytest.mark.parametrize(
    ("command", "result"),
    [
        (Command(1, 99), Result.UNKNOWN_COMMAND),
        (Command(1, CommandCode.SET_RATE, b"\1"), Result.BAD_ARGUMENT),
        (Command.set_rate(1, 0), Result.BAD_ARGUMENT),
        (Command.set_ranges(1, 5000, 0), Result.BAD_ARGUMENT),
        (Command(1, CommandCode.SET_RANGES), Result.BAD_ARGUMENT),
        (Command(1, CommandCode.IDENTIFY), Result.OK),
        (Command(1, CommandCode.STOP), Result.OK),
        (Command(1, CommandCode.START, b"and more, as a later version may append"), Result.OK),
    ],
)
def test_results(command: Command, result: Result) -> None:
    device = Device(Scenario())
    (reply,) = of(Reply, ask(device, 1.0, command))
    assert (reply.command, reply.result) == (command.command, result)


def test_streams_at_the_rate_with_health_and_description_when_due() -> None:
    _, items = streamed(Scenario(rate_hz=1000.0), 21.0)
    index, ticks, count, status = samples(items)
    assert index[0] == 0
    np.testing.assert_array_equal(np.diff(index), count[:-1])
    assert count.sum() / 21.0 == pytest.approx(1000.0, rel=0.004)
    assert np.diff(ticks).mean() == pytest.approx(19_000, rel=0.004)
    assert len(of(Health, items)) == 21
    assert len(of(Description, items)) == 3  # power-up, and two that are due
    assert (status >> 2 & 1).tolist() == [1] + [0] * (len(status) - 1)


def test_chunks_of_time_do_not_matter() -> None:
    scenario = Scenario(rate_hz=1000.0, faults=Faults(lose=0.05, corrupt=0.05))
    a, b = Device(scenario), Device(scenario)
    one = a.step(0.0, START) + a.step(5.0)
    many = b.step(0.0, START) + b"".join(b.step(0.004 * n) for n in range(1, 1251))
    assert one == many
    assert Device(Scenario(seed=2)).step(0.0) != Device(Scenario(seed=3)).step(0.0)


def test_a_change_takes_effect_after_the_description_that_announces_it() -> None:
    device = Device(Scenario(rate_hz=2000.0))
    before = device.step(0.0, START) + device.step(1.0)
    change = device.step(1.1, encode(Command.set_rate(5, 3_700_000)) + encode(Command.set_ranges(6, 10, 300)))
    after = device.step(2.1)
    said = of(Description, parse(change))
    assert [d.rate_mhz for d in said] == [4_000_000, 4_000_000]
    assert [d.revision for d in said] == [1, 2]
    assert said[1].accel_scale == pytest.approx(16 * 9.80665 / 32768, rel=1e-6)
    assert said[1].gyro_scale == pytest.approx(np.radians(500) / 32768, rel=1e-6)
    index, _, count, status = samples(parse(before + change + after))
    np.testing.assert_array_equal(np.diff(index), count[:-1])
    revisions = status >> 3 & 7
    assert set(revisions.tolist()) == {0, 2}
    assert int(count[revisions == 2].sum()) == pytest.approx(4000, abs=60)
    again = ask(device, 2.2, Command.set_rate(7, 4_000_000))
    assert not of(Description, again), "nothing changed, nothing to announce"


def test_index_stands_still_while_stopped() -> None:
    device = Device(Scenario(rate_hz=1000.0))
    data = device.step(0.0, START) + device.step(1.0) + device.step(1.0, encode(Command(3, CommandCode.STOP)))
    assert not [item for item in parse(device.step(8.0)) if isinstance(item, Blocks)]
    data += device.step(8.0, START) + device.step(9.0)
    index, ticks, count, _ = samples(parse(data))
    np.testing.assert_array_equal(np.diff(index), count[:-1])
    assert np.diff(ticks).max() > 6.9e6


def test_counters_wrap() -> None:
    _, items = streamed(Scenario(rate_hz=1000.0), 2.0, first_index=2**32 - 500, first_ticks=2**32 - 1_000_000)
    index, ticks, _, _ = samples(items)
    assert index.max() > 2**32 - 600
    assert index.min() < 2000
    assert set((np.diff(index.astype(np.int64)) % 2**32).tolist()) == {19}
    assert (np.diff(ticks.astype(np.int64)) % 2**32).max() < 25_000


def test_lost_blocks_are_owned_up_to() -> None:
    device, items = streamed(Scenario(rate_hz=1000.0, faults=Faults(lose=0.1)), 10.0)
    index, _, count, status = samples(items)
    steps = np.diff(index.astype(np.int64)) - count[:-1]
    assert device.lost_samples > 300
    np.testing.assert_array_equal(status[1:] & 1 == 1, steps > 0)
    told = of(Health, items)[-1]
    assert told.lost == pytest.approx(device.lost_samples, abs=60)
    assert told.samples == pytest.approx(int(count.sum()) + device.lost_samples, abs=60)


def test_a_congested_link_drops_whole_blocks() -> None:
    device = Device(Scenario(rate_hz=1000.0))
    data = device.step(0.0, START) + device.step(1.0) + device.step(2.0, congested=True) + device.step(3.0)
    items = parse(data)
    assert not [item for item in items if isinstance(item, Trouble)]
    assert device.lost_samples == pytest.approx(1000, abs=40)


def test_corruption_spoils_exactly_the_frames_it_touches() -> None:
    device, items = streamed(Scenario(rate_hz=1000.0, faults=Faults(corrupt=0.1)), 10.0)
    _, _, count, _ = samples(items)
    assert device.spoilt_samples > 300
    assert count.sum() == device.sent_samples
    assert [item for item in items if isinstance(item, Trouble)]


def test_a_restart_is_another_boot_that_waits_for_start() -> None:
    device = Device(Scenario(rate_hz=1000.0, faults=Faults(restart_after_s=2.0, boot_message=True)))
    data = device.step(0.0, START) + device.step(1.9)
    late = device.step(3.0)
    assert BOOT_MESSAGE in late
    assert not device.streaming
    assert device.step(4.0) == b""
    data += late + device.step(4.0, START) + device.step(6.0)
    boots = [said.boot for said in of(Description, parse(data))]
    assert boots[-1] == boots[0] + 1
    index, _, _, status = samples(parse(data))
    assert index.tolist().count(0) == 2
    assert (status >> 2 & 1).sum() == 2
    assert len(set((status >> 6).tolist())) == 2


@pytest.mark.parametrize("noise", [b"\0\0\0", b"hello\0", b"\xff" * 5000 + b"\0", encode(Command(1, 2))[:-3] + b"\0"])
def test_garbage_is_not_answered_and_does_not_deafen(noise: bytes) -> None:
    device = Device(Scenario())
    device.step(0.0)
    assert device.step(0.1, noise) == b""
    assert len(of(Reply, ask(device, 0.2, Command(4, CommandCode.CLOCK)))) == 1


def test_a_command_may_come_byte_by_byte() -> None:
    device = Device(Scenario())
    device.step(0.0)
    answers = [device.step(0.1 + n / 1000, bytes([byte])) for n, byte in enumerate(encode(Command(4, 7)))]
    assert [bool(answer) for answer in answers] == [False] * (len(answers) - 1) + [True]


def test_the_gate_tells_when_the_arrow_has_passed() -> None:
    device, items = streamed(Scenario(shots=1, nuisances="none", gate=True, rate_hz=500.0), 16.0)
    (shot,) = device.truth_until(16.0)[0]
    gone = [event for event in of(Event, items) if event.value == 0]
    assert len(gone) == 1
    assert gone[0].ticks == pytest.approx(shot.rest_clear_s * 1e6, abs=2)


def test_unknown_delays_are_stated_as_unknown() -> None:
    (said,) = of(Description, parse(Device(Scenario(faults=Faults(delays_unknown=True))).step(0.0)))
    assert (said.accel_delay_us, said.gyro_delay_us) == (0xFFFF, 0xFFFF)


def test_text_mode_streams_at_once_and_repeats_its_units() -> None:
    device = TextDevice(Scenario(rate_hz=500.0), units="counts", checked=True)
    text = b"".join(device.step(0.1 * n, b"\1\2\0") for n in range(121)).decode("ascii")
    lines = text.splitlines()
    assert lines[0].startswith("# accel_unit=counts*")
    assert sum(line.startswith("# gyro_scale=") for line in lines) == 2
    rows = [line for line in lines if not line.startswith("#")]
    assert len(rows) == pytest.approx(6000, rel=0.01)
    assert max(map(len, lines)) < 256
    for line in rows[:50]:
        body, check = line.split("*")
        xor = 0
        for byte in body.encode():
            xor ^= byte
        assert xor == int(check, 16)
        assert len(body.split(",")) == 7


@pytest.mark.parametrize(
    "wrong",
    [{"habit": "calm"}, {"rate_hz": 9000.0}, {"every_s": 1.0}, {"faults": Faults(lose=2.0)}, {"bow": "longbow"}],
)
def test_a_scenario_that_cannot_be_is_refused_with_what_can(wrong: dict[str, object]) -> None:
    with pytest.raises(InputError, match=r"use one of|give"):
        Scenario(**wrong)  # type: ignore[arg-type]
