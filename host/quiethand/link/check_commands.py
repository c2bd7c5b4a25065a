"""Judging what a device answers: to each command, in time, to what it does not know, and after rubbish. Pure."""

from __future__ import annotations

from quiethand_protocol.messages import CommandCode, Event, Health, Reply, Result

from quiethand.link.check_blocks import messages, table
from quiethand.link.check_findings import Finding, advice, fails, fine, not_seen
from quiethand.link.check_script import UNKNOWN_COMMAND
from quiethand.link.check_talk import ANSWER_S, Asked, Evidence

__all__ = ["command_findings"]

_NAMES = {code.value: code.name.lower().replace("_", " ") for code in CommandCode} | {UNKNOWN_COMMAND: "command 99"}


def command_findings(evidence: Evidence) -> list[Finding]:
    return [
        _silent_before(evidence),
        _answered(evidence),
        _in_time(evidence),
        _echoed(evidence),
        _unknown(evidence),
        _short(evidence),
        _identify(evidence),
        *(_after_garbage(evidence, *case) for case in (("garbage", "stopped"), ("garbage_streaming", "streaming"))),
        _starts(evidence),
        _starts_twice(evidence),
        _stops(evidence),
    ]


def _stream_in(evidence: Evidence, *phases: str) -> str:
    """What of a stream came in these phases, in words; "" where nothing did."""
    arrivals = evidence.during(*phases)
    parts = []
    if samples := table(arrivals).samples:
        parts.append(f"{samples} samples")
    for kind, name in ((Health, "HEALTH"), (Event, "EVENT")):
        if count := sum(isinstance(message, kind) for _, message in messages(arrivals)):
            parts.append(f"{count} {name}")
    return ", ".join(parts)


def _silent_before(evidence: Evidence) -> Finding:
    asks = "nothing streams before start"
    came = _stream_in(evidence, "before", "describe")
    if not came:
        return fine("silent_before_start", asks, "no SAMPLES, HEALTH or EVENT before start")
    do = (
        "take its power away and check again: it may stream for a host that left without stop; "
        "if it still does, stream only after start"
    )
    return fails("silent_before_start", asks, f"{came} came before start", do)


def _answered(evidence: Evidence) -> Finding:
    asks = "every command is answered"
    silent = sorted({_NAMES[a.command] for a in evidence.asked if a.reply is None and not a.why.startswith("garbage")})
    if silent:
        do = "send a REPLY to every COMMAND whose CRC holds, stopped or streaming, whatever the command is"
        return fails("answers", asks, f"no answer to {', '.join(silent)}", do)
    tried = sum(len(a.requests) for a in evidence.asked)
    again = tried - len(evidence.asked)
    more = f"; {again} had to be sent again" if again else ""
    return fine("answers", asks, f"{len(evidence.asked)} commands answered{more}")


def _in_time(evidence: Evidence) -> Finding:
    asks = f"answers come within {ANSWER_S * 1000:.0f} ms"
    answered = [a for a in evidence.asked if a.latency_s is not None]
    if not answered:
        return not_seen("answers_in_time", asks, "nothing was answered")
    late = [a for a in answered if not a.in_time]
    slowest = max(a.latency_s or 0.0 for a in answered)
    if late:
        names = ", ".join(sorted({_NAMES[a.command] for a in late}))
        do = "answer before the work, from the main loop; a block in the queue must not hold an answer up"
        found = f"{len(late)} of {len(answered)} were late in every try ({names}), up to {slowest * 1000:.0f} ms"
        return fails("answers_in_time", asks, found, do)
    return fine("answers_in_time", asks, f"the slowest took {slowest * 1000:.0f} ms")


def _echoed(evidence: Evidence) -> Finding:
    asks = "a REPLY echoes the COMMAND's request and command"
    sent = {(request, a.command) for a in evidence.asked for request in a.requests}
    replies = [m for _, m in messages(evidence.during(*list(evidence.phases)[2:])) if isinstance(m, Reply)]
    # An answer to one of the first calls of describe may come late; those have small numbers.
    strange = [r for r in replies if (r.request, r.command) not in sent and r.command != CommandCode.DESCRIBE]
    if strange:
        one = strange[0]
        do = "copy request and command from the COMMAND into its REPLY"
        found = f"{len(strange)} of {len(replies)} do not, such as request {one.request} for command {one.command}"
        return fails("echo", asks, found, do)
    return fine("echo", asks, f"{len(replies)} replies do")


def _results(asked: list[Asked]) -> list[int]:
    return [a.reply.result for a in asked if a.reply is not None]


def _unknown(evidence: Evidence) -> Finding:
    asks = "an unknown command is answered with result 1"
    results = _results(evidence.answers("unknown"))
    do = f"answer commands that are not listed with result 1 (command {UNKNOWN_COMMAND} was sent)"
    if not results:
        return fails("unknown_command", asks, "no answer", do)
    if results[0] != Result.UNKNOWN_COMMAND:
        return fails("unknown_command", asks, f"the result is {results[0]}", do)
    return fine("unknown_command", asks, "it is")


def _short(evidence: Evidence) -> Finding:
    asks = "a command without its arguments is answered with result 2"
    results = _results(evidence.answers("short"))
    do = "look at the payload's length before the arguments; a set rate without a rate is a bad argument"
    if not results:
        return fails("bad_argument", asks, "no answer", do)
    if results[0] != Result.BAD_ARGUMENT and results[0] != Result.UNKNOWN_COMMAND:
        return fails("bad_argument", asks, f"the result is {results[0]}", do)
    return fine("bad_argument", asks, f"the result is {results[0]}")


def _identify(evidence: Evidence) -> Finding:
    asks = "identify blinks"
    results = _results(evidence.answers("identify"))
    if results and results[0] == Result.OK:
        return fine("identify", asks, "the result is 0; did it blink?")
    if results and results[0] == Result.UNKNOWN_COMMAND:
        do = "give it a lamp: two sensors on a table are told apart by it"
        return advice("identify", asks, "unknown to this device", do)
    return fails("identify", asks, f"the result is {results[0]}" if results else "no answer", "blink, and answer 0")


def _after_garbage(evidence: Evidence, why: str, when: str) -> Finding:
    name = f"resync_{when}"
    asks = f"it hears the next command after rubbish, {when}"
    asked = evidence.answers(why)
    if not asked:
        return not_seen(name, asks, "the check did not come so far")
    # An answer that came late, to whichever try, still shows that the command was heard.
    answered = {m.request for _, m in messages(evidence.arrivals) if isinstance(m, Reply)}
    deaf = [n for n, a in enumerate(asked) if a.reply is None and not answered.intersection(a.requests)]
    kinds = ("noise", "a damaged frame", "a run of 1000 bytes", "empty runs")
    do = "begin anew at every 0x00, whatever came before; drop a run over 515 bytes up to its 0x00 and keep none of it"
    if deaf:
        return fails(name, asks, f"deaf after {', '.join(kinds[n % len(kinds)] for n in deaf)}", do)
    again = [n for n, a in enumerate(asked) if a.requests[0] not in answered and n not in deaf]
    if again:
        found = f"heard only the second one after {', '.join(kinds[n % len(kinds)] for n in again)}"
        return fails(name, asks, found, do)
    return fine(name, asks, f"after {', '.join(kinds)}")


def _starts(evidence: Evidence) -> Finding:
    asks = "start is answered with 0, and samples come"
    results = _results(evidence.answers("start"))
    samples = table(evidence.during("start", "stream")).samples
    if not samples:
        why = f"the result was {results[0]}" if results else "it was not answered"
        return fails("starts", asks, f"no sample in 12 s; {why}", "start sampling; is the sensor chip wired and found?")
    if not results or results[0] != Result.OK:
        return fails("starts", asks, f"samples come, the result is {results[0] if results else 'missing'}", "answer 0")
    return fine("starts", asks, f"{samples} samples in the first 12 s")


def _starts_twice(evidence: Evidence) -> Finding:
    asks = "a second start is answered with 0 and changes nothing"
    results = _results(evidence.answers("start_twice"))
    blocks = table(evidence.during("stream", "busy"))
    if not results or not len(blocks):
        return not_seen("start_twice", asks, "not answered")
    back = int(((blocks.index[1:] - blocks.index[:-1]) % (1 << 32) >= 1 << 31).sum())
    if results[0] != Result.OK or back:
        found = "the index began anew" if back else f"the result is {results[0]}"
        return fails("start_twice", asks, found, "commands are idempotent: start what streams already answers 0")
    return fine("start_twice", asks, "it does")


def _stops(evidence: Evidence) -> Finding:
    asks = "stop ends the stream"
    came = _stream_in(evidence, "after_stop")
    if not table(evidence.during("stream")).samples:
        return not_seen("stops", asks, "nothing streamed")
    if came:
        return fails("stops", asks, f"{came} came later than 0.5 s after stop", "send nothing but answers after stop")
    return fine("stops", asks, "nothing came later than 0.5 s after it")
