"""What goes over the wire between the two seats: JSON texts [kind, body], every field checked.

Trainee to trainer: join, resume, ask, leave. Trainer to trainee: welcome, refused, frame, past,
work, answer, end. What a trainee does not see has no place in these messages at all: a frame is
sent without the fields that are unseen, a record without the channels that no instrument shows.
"""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Mapping
from math import inf
from typing import Any, get_type_hints

import numpy as np

from pneumo.circuit.document import Findings, parse
from pneumo.live.frame import Frame
from pneumo.live.link import Past
from pneumo.live.plant import Plant
from pneumo.live.request import (
    Answer,
    Do,
    GoTo,
    Hand,
    Line,
    Newest,
    NextEvent,
    Pause,
    Request,
    Run,
    Scan,
    Shelve,
    Speed,
)
from pneumo.live.seat import UNSEEN, seen, seen_events
from pneumo.live.work import Work
from pneumo.network.network import Array
from pneumo.packing import PackingError, pack, unpack
from pneumo.scenario.event import RunEvent

VERSION = 10
"""Of these messages; both seats must have the same."""

RESUME_FOR = 300.0
"""How long a trainee whose connection was cut may come back [s]."""

LARGEST_ASKED = 4096
"""Bytes of one message from the trainee."""

LARGEST_TOLD = 8_000_000
"""Bytes of one message to the trainee; a circuit document is the largest."""

PING, PING_WAIT = 5.0, 10.0
"""How often each side looks whether the other is there, and how long it waits [s]."""

_LONGEST_SENTENCE = 200

_LONGEST_RIDE = 1e9
"""[s]"""


# messages


def encode(kind: str, body: Any) -> str:
    """A message."""
    return json.dumps([kind, body], ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def decode(message: str | bytes) -> tuple[str, Any]:
    """Kind and body of a message.

    Raises
    ------
    PackingError
        When it is none.
    """
    try:
        content = json.loads(message) if isinstance(message, str) else None
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, list) or len(content) != 2 or not isinstance(content[0], str):
        raise PackingError("This is not a message between two seats of pneumo.")
    return content[0], content[1]


# frames

_SEEN = tuple(n for n in Frame._fields if n not in (*UNSEEN, "power", "trapped", "note", "check"))
_SEEN_ZONE = ("state", "since", "first_out", "charge", "waits", "confirmed")
_NAMES = ("isolated", "drained", "switched_off")


def pack_frame(frame: Frame, plant: Plant) -> list[Any]:
    """What a trainee sees of a frame."""
    frame = seen(frame, plant)
    fields: dict[str, Any] = {name: pack(getattr(frame, name)) for name in _SEEN}
    fields["zones"] = [[pack(getattr(z, name)) for name in _SEEN_ZONE] for z in frame.zones]
    return list(fields.values())


def unpack_frame(data: Any, plant: Plant) -> Frame:
    """The trainee's frame; every list has the length that the plant gives it."""
    fields = _filled(data, plant)
    frame = unpack(Frame, [fields[name] for name in get_type_hints(Frame)])
    _check_fits(frame, plant)
    # the note follows from the mode
    return seen(frame, plant)


def _filled(data: Any, plant: Plant) -> dict[str, Any]:
    """Packed fields of a frame that came, with those that are unseen put in."""
    if not isinstance(data, list) or len(data) != len(_SEEN):
        raise PackingError("A frame has the wrong parts.")
    fields = dict(zip(_SEEN, data, strict=True))
    zones = fields["zones"]
    if not isinstance(zones, list) or not all(
        isinstance(zone, list) and len(zone) == len(_SEEN_ZONE) for zone in zones
    ):
        raise PackingError("The zones of a frame are missing.")
    fields["zones"] = [[*zone[:-1], None, None, None, "", zone[-1], zone[-1]] for zone in zones]
    fields |= {"note": "", "check": None, "power": None, "trapped": []}
    counted = _counted(plant)
    return fields | {name: [None] * len(counted[name]) for name in UNSEEN}


def _check_fits(frame: Frame, plant: Plant) -> None:
    """Raises PackingError for a frame that is not one of this plant."""
    for name, members in _counted(plant).items():
        if len(getattr(frame, name)) != len(members):
            raise PackingError(f"A frame has a different number of {name} than the circuit.")
    for name, zone in zip(plant.zones, frame.zones, strict=True):
        if not set(zone.confirmed.lacking) <= set(range(len(plant.circuit.zones[name].brakes))):
            raise PackingError("A frame names a brake that its zone does not have.")
    named = {name.partition(".")[0] for field in _NAMES for name in getattr(frame, field)}
    if not (named <= plant.circuit.components.keys() and {*frame.absent_fins} <= {*plant.zones}):
        raise PackingError("A frame names what the circuit does not have.")


def _counted(plant: Plant) -> Mapping[str, tuple[Any, ...]]:
    """Fields of a frame -> what they are in the order of."""
    return {
        "zones": plant.zones, "pressures": plant.nets, "flows": plant.ports,
        "positions": plant.valves, "gaps": plant.brakes, "forces": plant.brakes,
        "travels": plant.cylinders, "readings": plant.meters, "supplying": plant.supplies,
        "inputs": plant.inputs, "forced_inputs": plant.inputs, "outputs": plant.outputs,
        "forced_outputs": plant.outputs,
    }  # fmt: skip


# the record

ROWS, EVENTS = 400, 400
"""Rows and events that one message holds at most."""

MOST_ROWS, MOST_EVENTS = 3_000_000, 500_000
"""Rows and events a trainee's seat keeps at most."""


def _instruments(plant: Plant) -> list[int]:
    return [column for column, channel in enumerate(plant.channels) if channel.instrument]


class PastSender:
    """Sends a record that grows, piece by piece."""

    def __init__(self, plant: Plant) -> None:
        self._columns = _instruments(plant)
        self._of: tuple[int, int] | None = None
        """Epoch of the record, and how often it has been thinned out."""
        self._rows = 0
        self._events = 0

    def next(self, past: Past) -> list[Any] | None:
        """The body of the next message; None when all has been sent."""
        rows, events = len(past.times), len(past.events)
        of = (past.epoch, past.thinned)
        anew = of != self._of or rows < self._rows or events < self._events
        if anew:
            self._of, self._rows, self._events = of, 0, 0
        if not anew and (rows, events) == (self._rows, self._events):
            return None
        row, event = self._rows, self._events
        self._rows, self._events = min(rows, row + ROWS), min(events, event + EVENTS)
        values = past.values[row : self._rows, self._columns]
        return [
            anew,
            _bytes_text(past.times[row : self._rows].astype("<f8").tobytes()),
            _bytes_text(values.astype("<f4").tobytes()),
            [pack(item) for item in seen_events(past.events[event : self._events])],
        ]


class PastReader:
    """Puts a record together from its pieces. What was handed out stays as it was."""

    def __init__(self, plant: Plant) -> None:
        self._columns = _instruments(plant)
        self._channels = len(plant.channels)
        self._times: Array = np.zeros(0)
        self._values: Array = np.zeros((0, self._channels), dtype=np.float32)
        self._events: list[RunEvent] = []
        self.past = Past(0, self._times, self._values, self._events)
        """All that has come."""

    def add(self, body: Any) -> None:
        """Takes the body of one message."""
        if not isinstance(body, list) or len(body) != 4 or not isinstance(body[0], bool):
            raise PackingError("A piece of the record has the wrong parts.")
        times = _numbers(body[1], "<f8")
        values = _numbers(body[2], "<f4")
        events = unpack(tuple[RunEvent, ...], body[3])
        if len(values) != len(times) * len(self._columns) or len(times) > ROWS:
            raise PackingError("A piece of the record has rows of the wrong length.")
        epoch = self.past.epoch + int(body[0])
        if body[0]:
            self._times = np.zeros(0)
            self._values = np.zeros((0, self._channels), dtype=np.float32)
            self._events = []
        before = 0 if body[0] else len(self.past.times)
        rows = before + len(times)
        if rows > MOST_ROWS or len(self._events) + len(events) > MOST_EVENTS:
            raise PackingError("The record is longer than this seat can keep.")
        last = self._times[before - 1] if before else -inf
        forward = (np.diff(times, prepend=last) >= 0.0).all()
        if not (forward and (np.abs(times) <= _LONGEST_RIDE).all()):
            raise PackingError("The times of the record are not in order.")
        if rows > len(self._times):
            self._times = _grown(self._times, before, 2 * rows)
            self._values = _grown(self._values, before, 2 * rows)
        self._times[before:rows] = times
        self._values[before:rows] = np.nan
        self._values[before:rows, self._columns] = values.reshape(len(times), len(self._columns))
        self._events += events
        self.past = Past(epoch, self._times[:rows], self._values[:rows], self._events)


def _grown(old: Array, used: int, rows: int) -> Array:
    new: Array = np.empty((rows, *old.shape[1:]), dtype=old.dtype)
    new[:used] = old[:used]
    return new


def _bytes_text(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _numbers(text: Any, kind: str) -> Array:
    if not isinstance(text, str):
        raise PackingError("Numbers of the record are missing.")
    try:
        data = base64.b64decode(text, validate=True)
        numbers: Array = np.frombuffer(data, dtype=kind)
    except (binascii.Error, ValueError):
        raise PackingError("Numbers of the record cannot be read.") from None
    return numbers


# a drill


def pack_work(work: Work) -> Any:
    """What a trainee knows of the drill: what was done in it, and when it is over its debrief. The
    briefing is without what has to be asked for (`live.work`)."""
    return pack(work)


def unpack_work(body: Any) -> Work:
    """The drill as it was sent."""
    return unpack(Work, body)


# requests and answers

_ASKED: dict[str, tuple[Any, tuple[str, ...]]] = {
    "do": (Do, ("sentence",)),  # never `hidden`: only a trainer hides
    "hand": (Hand, ("test", "target")),
    "line": (Line, ("text",)),
    "shelve": (Shelve, ("zone", "alarm", "seconds")),
    "run": (Run, ()),
    "pause": (Pause, ()),
    "speed": (Speed, ("factor",)),
    "scan": (Scan, ()),
    "next": (NextEvent, ()),
    "go": (GoTo, ("time",)),
    "newest": (Newest, ()),
}
"""Word of a request -> its class and the fields that are sent."""

TIME = (Run, Pause, Speed, Scan, NextEvent, GoTo, Newest)
"""Requests that move time."""

_RANGES = {"factor": (0.1, 50.0), "time": (0.0, _LONGEST_RIDE), "seconds": (1.0, 86_400.0)}


def pack_request(number: int, request: Request) -> list[Any] | None:
    """Body of an `ask`; None for what a trainee has no words for."""
    for word, (kind, names) in _ASKED.items():
        if type(request) is kind:
            return [number, word, [getattr(request, name) for name in names]]
    return None


def unpack_request(body: Any) -> tuple[int, Request]:
    """Number and request of an `ask`."""
    if not isinstance(body, list) or len(body) != 3:
        raise PackingError("A request has the wrong parts.")
    number, word, values = unpack(int, body[0]), unpack(str, body[1]), body[2]
    if word not in _ASKED:
        raise PackingError("There is no such request from a trainee.")
    kind, names = _ASKED[word]
    if not isinstance(values, list) or len(values) != len(names):
        raise PackingError("A request has the wrong fields.")
    hints = get_type_hints(kind)
    fields: dict[str, Any] = {}
    for name, value in zip(names, values, strict=True):
        fields[name] = field = unpack(hints[name], value)
        if isinstance(field, str) and (len(field) > _LONGEST_SENTENCE or not field.isprintable()):
            raise PackingError("A sentence is too long, or holds a character that is not allowed.")
        low, high = _RANGES.get(name, (-inf, inf))
        if isinstance(field, float) and not low <= field <= high:
            raise PackingError("A number of a request is out of range.")
    request: Request = kind(**fields)
    return number, request


def pack_answer(answer: Answer, to: int) -> list[Any]:
    """Body of an `answer`; what a check found stays with the trainer."""
    return [to, answer.done, pack(answer.text), pack(answer.cautions), pack(answer.refused)]


def unpack_answer(body: Any) -> Answer:
    """The answer that came."""
    if not isinstance(body, list) or len(body) != 5:
        raise PackingError("An answer has the wrong parts.")
    return Answer(
        unpack(int, body[0]),
        unpack(bool, body[1]),
        unpack(str, body[2]),
        unpack(tuple[str, ...], body[3]),
        refused=unpack(str, body[4]),
    )


# the document

_LEFT_OUT = ("scenarios", "verification")
"""Sections that stay with the trainer: they may tell what is rehearsed."""


def bare_document(text: str, name: str) -> str:
    """A circuit document as a trainee gets it: written anew from its data.

    Without comments, scenarios and remarks (`about`), whatever its author may have noted there.
    """
    findings = Findings(name)
    root = parse(text, findings)
    findings.stop_on_errors()
    kept = {key: _bare(value) for key, value in root.items() if key not in _LEFT_OUT}
    # text in quotes is YAML as well as JSON; a line for each entry keeps findings readable
    return json.dumps(kept, ensure_ascii=False, indent=0, separators=(", ", ": ")) + "\n"


def _bare(value: Any) -> Any:
    if isinstance(value, dict):
        # a component may be called about, too: then its value is no text
        remarks = [key for key, item in value.items() if key == "about" and isinstance(item, str)]
        return {key: _bare(item) for key, item in value.items() if key not in remarks}
    if isinstance(value, list):
        return [_bare(item) for item in value]
    return value
