"""The state machine, on a board that obeys lines, held to "What a device does" of the wire format."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import quiethand_protocol as qp
from firmware_c.c_side import HERE, SANITIZED, SOURCES, build
from firmware_protocol.vector_files import outcomes

SECOND = 1_000_000
BLOCK = 19


class Board:
    """A simulated board: say a line, get what the device sent because of it."""

    def __init__(self, program: Path, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [str(program), *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        self.sent = b""  # everything since power-up
        self.greeting = self._answer()

    def _answer(self) -> list[dict[str, Any]]:
        assert self.process.stdout is not None
        line = self.process.stdout.readline().strip()
        assert line, "the device died"
        self.last = b"" if line == "-" else bytes.fromhex(line)
        self.sent += self.last
        return [one["message"] for one in outcomes(qp.Parser("device").feed(self.last))]

    def say(self, line: str) -> list[dict[str, Any]]:
        assert self.process.stdin is not None
        self.process.stdin.write(line + "\n")
        return self._answer()

    def hear(self, *commands: qp.Command) -> list[dict[str, Any]]:
        return self.say("hear " + b"".join(map(qp.encode, commands)).hex())

    def close(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        assert self.process.wait(10) == 0
        items = qp.Parser("device").feed(self.sent)  # nothing it ever sends is anything but a message
        assert {one["outcome"] for one in outcomes(items)} <= {"message"}


DESCRIBE = qp.Command(1, qp.CommandCode.DESCRIBE)
START = qp.Command(2, qp.CommandCode.START)
STOP = qp.Command(3, qp.CommandCode.STOP)
CLOCK = qp.Command(4, qp.CommandCode.CLOCK)
IDENTIFY = qp.Command(5, qp.CommandCode.IDENTIFY)
Boards = Callable[..., Board]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("c") / "sim", [*SOURCES, HERE / "device_sim.c"], SANITIZED)


@pytest.fixture
def boards(program: Path) -> Iterator[Boards]:
    made: list[Board] = []

    def make(*arguments: str) -> Board:
        made.append(Board(program, *arguments))
        return made[-1]

    yield make
    for board in made:
        board.close()


def types(messages: list[dict[str, Any]]) -> list[str]:
    return [str(message["type"]) for message in messages]


def reply(request: int, command: int, result: int = 0, ticks: int = 0) -> dict[str, Any]:
    return {"type": "REPLY", "request": request, "command": command, "result": result, "ticks": ticks}


def test_greets_with_a_delimiter_and_a_description_and_is_silent(boards: Boards) -> None:
    board = boards()
    assert board.sent.startswith(b"\0")
    assert types(board.greeting) == ["DESCRIPTION"]
    assert board.greeting[0]["uid"] == "0102030405060708"
    assert (board.greeting[0]["boot"], board.greeting[0]["revision"]) == (6, 0)
    assert board.say("samples 100") == []
    assert board.say(f"event {SECOND} 1 1") == []
    board.say(f"now {30 * SECOND}")
    assert board.say("poll") == []


def test_answers_every_command_at_once_with_the_time_its_last_byte_came(boards: Boards) -> None:
    board = boards()
    board.say("now 123456")
    assert board.hear(CLOCK) == [reply(4, 7, ticks=123456)]
    assert types(board.hear(DESCRIBE)) == ["REPLY", "DESCRIPTION"]
    assert board.hear(IDENTIFY) == [reply(5, 6, ticks=123456)]
    assert board.last.startswith(b"\0")  # this board's lamp prints a line: the next frame opens with a delimiter
    assert board.hear(qp.Command(9, 99)) == [reply(9, 99, 1, 123456)]
    twice = [reply(n, n, ticks=123456) for n in (2, 2, 3, 3)]
    assert board.hear(START, START, STOP, STOP) == twice


def test_identify_without_a_lamp_is_unknown(boards: Boards) -> None:
    assert boards("0", "up", "no lamp").hear(IDENTIFY)[0]["result"] == qp.Result.UNKNOWN_COMMAND


def test_blocks_count_from_0_and_stand_still_while_stopped(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    first, second = board.say(f"samples {2 * BLOCK}")
    assert (first["index"], first["ticks"], len(first["counts"])) == (0, 18_000, BLOCK)
    assert (second["index"], second["ticks"]) == (BLOCK, 37_000)
    assert first["status"] == qp.status_byte(qp.Status.FIRST_SINCE_POWER_UP, 0, 6)
    assert second["status"] == qp.status_byte(0, 0, 6)
    assert [row[0] for row in first["counts"]] == list(range(BLOCK))
    assert first["temperature"] == qp.UNKNOWN_TEMPERATURE
    board.say("samples 3")
    assert types(board.hear(STOP)) == ["SAMPLES", "REPLY"]
    assert board.say("samples 50") == []
    board.hear(START)
    (third,) = board.say(f"samples {BLOCK}")
    assert third["index"] == 2 * BLOCK + 3
    assert third["status"] == qp.status_byte(0, 0, 6)


def test_what_the_board_knows_of_itself(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("temperature -512")
    board.say("supply 3312 1")
    (block,) = board.say(f"samples {BLOCK}")
    assert block["temperature"] == -512
    assert block["status"] & qp.Status.SUPPLY_LOW
    assert board.say(f"event {5 * SECOND} 1 0") == [{"type": "EVENT", "ticks": 5 * SECOND, "channel": 1, "value": 0}]
    (log,) = board.say("log " + "x" * 400)
    assert 100 < len(log["text"]) < 400


def test_health_each_second_and_description_each_10_s(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    health, descriptions = [], []
    for step in range(1, 601):  # a minute in steps of 100 ms
        board.say(f"now {step * SECOND // 10}")
        for message in board.say("poll"):
            {"HEALTH": health, "DESCRIPTION": descriptions}[message["type"]].append(step / 10)
    assert health == list(range(1, 61))
    assert descriptions == [10, 20, 30, 40, 50, 60]


def test_a_rate_is_announced_before_its_first_block(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("samples 5")
    board.say("waiting 4")
    sent = board.hear(qp.Command.set_rate(7, 1_600_000))
    assert types(sent) == ["SAMPLES", "REPLY", "DESCRIPTION"]
    assert len(sent[0]["counts"]) == 9  # those that still waited in the board too, under the old revision
    assert sent[0]["status"] >> 3 & 7 == 0
    assert sent[2]["rate_mhz"] == 2_000_000
    assert sent[2]["revision"] == 1
    (block,) = board.say(f"samples {BLOCK}")
    assert block["index"] == 9
    assert block["status"] == qp.status_byte(0, 1, 6)
    assert board.hear(qp.Command.set_rate(8, 2_000_000)) == [reply(8, 4, ticks=28_000)]  # nothing changed


def test_what_a_change_of_range_misses_is_counted(boards: Boards) -> None:
    """The host goes on fitting time to the index: 40 ms in which nothing was taken are 39 samples at 1 kHz."""
    board = boards()
    board.hear(START)
    board.say("samples 4")
    assert types(board.hear(qp.Command.set_ranges(7, 2, 0))) == ["SAMPLES", "REPLY", "DESCRIPTION"]
    board.say("now 43000")
    (block,) = board.say(f"samples {BLOCK}")
    assert block["index"] == 4 + 39
    assert block["status"] == qp.status_byte(qp.Status.LOST_BEFORE, 1, 6)
    board.hear(qp.Command.set_ranges(8, 4, 0))
    (block,) = board.say(f"samples {BLOCK}")  # at once: nothing was missed
    assert (block["index"], block["status"] & qp.Status.LOST_BEFORE) == (43 + BLOCK, 0)


@pytest.mark.parametrize(
    ("asked", "rate"), [(1, 500_000), (749_999, 500_000), (750_001, 1_000_000), (2**32 - 1, 2_000_000)]
)
def test_the_nearest_rate(boards: Boards, asked: int, rate: int) -> None:
    board = boards()
    board.hear(qp.Command.set_rate(7, asked))
    assert board.hear(DESCRIBE)[1]["rate_mhz"] == rate


@pytest.mark.parametrize(
    ("asked", "ranges"),
    [((2, 0), (2, 2000)), ((3, 250), (4, 250)), ((0, 251), (16, 2000)), ((0, 0), (16, 2000)), ((16, 2000), (16, 2000))],
)
def test_the_nearest_range_that_is_not_smaller(boards: Boards, asked: tuple[int, int], ranges: tuple[int, int]) -> None:
    board = boards()
    assert board.hear(qp.Command.set_ranges(7, *asked))[0]["result"] == qp.Result.OK
    said = board.hear(DESCRIBE)[1]
    assert (said["accel_scale"] * 32768, said["gyro_scale"] * 32768) == ranges


@pytest.mark.parametrize(
    "command",
    [
        qp.Command.set_ranges(7, 17, 0),
        qp.Command.set_ranges(7, 2, 2001),
        qp.Command(7, 5, b"\2\0\xfa"),
        qp.Command(7, 4, b"\1\2\3"),
        qp.Command.set_rate(7, 0),
    ],
)
def test_bad_arguments_change_nothing(boards: Boards, command: qp.Command) -> None:
    board = boards()
    assert board.hear(command) == [reply(7, command.command, qp.Result.BAD_ARGUMENT)]
    assert board.hear(DESCRIBE)[1] == board.greeting[0]


def test_arguments_of_a_later_version_are_ignored(boards: Boards) -> None:
    command = qp.Command.set_rate(7, 500_000)
    sent = boards().hear(replace(command, arguments=command.arguments + b"more"))
    assert (sent[0]["result"], sent[1]["rate_mhz"]) == (0, 500_000)


def test_known_losses_are_in_the_index(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("samples 4")
    (cut,) = board.say("lost 7")
    assert (cut["index"], len(cut["counts"])) == (0, 4)
    (after,) = board.say(f"samples {BLOCK}")
    assert (after["index"], after["status"] & qp.Status.LOST_BEFORE) == (11, 1)
    board.say(f"now {SECOND}")
    assert board.say("poll")[-1] == {"type": "HEALTH", "samples": 30, "lost": 7, "supply_mv": 0}
    (clean,) = board.say(f"samples {BLOCK}")
    assert not clean["status"] & qp.Status.LOST_BEFORE


@pytest.mark.parametrize("begin", [0, 2**32 - 30_000])
@pytest.mark.parametrize("next_ticks", [117_600, 118_400])
def test_unknown_losses_are_reckoned_from_the_time(boards: Boards, begin: int, next_ticks: int) -> None:
    """1 kHz: the last sample at 18 ms, the next near 118 ms: 99 are missing. The clock may wrap meanwhile."""
    board = boards(str(begin))
    board.hear(START)
    board.say(f"samples {BLOCK}")
    board.say(f"until {(begin + next_ticks) % 2**32}")
    (after,) = board.say(f"samples {BLOCK}")
    assert (after["index"], after["status"] & qp.Status.LOST_BEFORE) == (BLOCK + 99, 1)


def test_a_full_link_drops_whole_blocks_and_counts_them(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say(f"samples {BLOCK}")
    board.say("link 0")
    assert board.say(f"samples {3 * BLOCK}") == []
    board.say("link 1")
    (after,) = board.say(f"samples {BLOCK}")
    assert (after["index"], after["status"] & qp.Status.LOST_BEFORE) == (4 * BLOCK, 1)
    board.say(f"now {2 * SECOND}")
    health = board.say("poll")[-1]
    assert (health["samples"], health["lost"]) == (5 * BLOCK, 3 * BLOCK)


def test_the_first_block_is_said_to_be_first_even_if_others_were_dropped(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("link 0")
    board.say(f"samples {BLOCK}")
    board.say("link 1")
    (block,) = board.say(f"samples {BLOCK}")
    assert block["status"] & 7 == qp.Status.FIRST_SINCE_POWER_UP | qp.Status.LOST_BEFORE


def test_answers_wait_for_the_link_and_what_finds_no_room_is_not_done(boards: Boards) -> None:
    board = boards()
    board.say("link 0")
    commands = [qp.Command.set_rate(n, 500_000 * n) for n in (1, 2, 4)]
    assert board.hear(*commands, CLOCK, replace(START, request=77)) == []
    board.say("link 1")
    sent = board.say("poll")
    assert [(m["type"], m.get("request")) for m in sent] == [
        *[("REPLY", n) for n in (1, 2, 4, 4)],
        ("DESCRIPTION", None),
    ]
    assert sent[-1]["rate_mhz"] == 2_000_000
    assert board.say("samples 100") == []  # start was the fifth


def test_a_block_never_comes_before_the_description_that_scales_it(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("link 0")
    board.hear(qp.Command.set_ranges(7, 2, 0))
    board.say(f"samples {BLOCK}")
    board.say("link 1")
    sent = board.say(f"samples {BLOCK}")
    assert types(sent) == ["REPLY", "DESCRIPTION", "SAMPLES"]
    assert sent[2]["index"] == BLOCK


def test_a_sensor_that_does_not_answer(boards: Boards) -> None:
    board = boards("0", "dead")
    assert board.greeting == []
    assert board.hear(START) == [reply(2, 2, qp.Result.HARDWARE_FAULT)]
    assert board.hear(DESCRIBE) == [reply(1, 1, qp.Result.HARDWARE_FAULT)]
    assert board.hear(CLOCK) == [reply(4, 7)]
    board.say("sensor 1")
    assert types(board.hear(START)) == ["REPLY", "DESCRIPTION"]
    assert types(board.say(f"samples {BLOCK}")) == ["SAMPLES"]


def test_a_sensor_that_fails_at_a_change_says_so_and_comes_back(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("sensor 0")
    assert board.hear(qp.Command.set_rate(7, 500_000))[0]["result"] == qp.Result.HARDWARE_FAULT
    assert board.say(f"samples {BLOCK}") == []  # nobody knows what they would mean
    board.say("sensor 1")
    sent = board.hear(START)
    assert types(sent) == ["REPLY", "DESCRIPTION"]
    assert sent[1] == board.greeting[0]


def test_a_pause_is_followed_by_a_delimiter(boards: Boards) -> None:
    board = boards()
    board.hear(CLOCK)
    assert not board.last.startswith(b"\0")
    board.say(f"now {3 * SECOND}")
    board.hear(CLOCK)
    assert board.last.startswith(b"\0")


def test_samples_of_a_moment_ago_are_no_pause(boards: Boards) -> None:
    """Their times lie before those of the loop that sends them: the clock did not go back."""
    board = boards()
    board.say("now 500000")
    board.hear(START)
    board.say("now 100000")
    (block,) = board.say(f"samples {BLOCK}")
    assert block["ticks"] == 118_000
    assert not board.last.startswith(b"\0")


def test_a_slow_rate_does_not_keep_samples_back(boards: Boards) -> None:
    board = boards()
    board.hear(START)
    board.say("samples 2")
    board.say("now 200000")
    assert board.say("poll") == []
    board.say("now 260000")
    (block,) = board.say("poll")
    assert len(block["counts"]) == 2


def test_garbage_before_a_command_costs_no_command_but_one(boards: Boards) -> None:
    board = boards()
    rubbish = bytes(range(1, 256)) * 5
    board.say("hear " + rubbish.hex())
    board.hear(CLOCK)  # ends the rubbish
    assert board.hear(CLOCK) == [reply(4, 7)]
