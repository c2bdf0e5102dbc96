"""A tablet by the rules of the app's own queue, with clocks that go wrong and a line that cuts.

What is in `rows`, `photos`, `id`, `seq` and `ticket` is kept on the tablet; `boot` and the
stopwatch are memory, which a crash takes away.
"""

import hashlib
import json
from base64 import b64encode
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from contractors.models import new_id
from tests.inspections import tablets

BEGINNING = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)
TO_SEND = ("waiting", "deferred")


@dataclass
class World:
    """The true time, which nobody knows, and by how much the server's clock is wrong."""

    at: datetime = BEGINNING
    server_wrong_by: timedelta = timedelta(0)

    def now(self) -> datetime:
        """Return the server's time."""
        return self.at + self.server_wrong_by


@dataclass
class Row:
    """An entry on the tablet, what became of it, and what is true of it."""

    event: dict[str, Any]
    made_at: datetime
    contact: datetime
    status: str = "waiting"
    wrong: bool = False

    @property
    def to_send(self) -> bool:
        """Whether it still has to reach the server."""
        return self.status in TO_SEND


@dataclass
class Picture:
    """A photo on the tablet and how much of it the server said it has."""

    blob: str
    content: bytes
    offset: int = 0
    sent: bool = False

    @property
    def sha256(self) -> str:
        """The hash that its entry announces."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass
class Queued:
    """A registered tablet of one member, its queue, and its clocks."""

    world: World
    client: Any
    member: Any
    visit: UUID
    id: str = ""
    ticket: str = ""
    contact: datetime = BEGINNING
    seq: int = 0
    rows: list[Row] = field(default_factory=list)
    photos: list[Picture] = field(default_factory=list)
    wrong_by: timedelta = timedelta(0)
    boot: str = "boot-1"
    awake: timedelta = timedelta(0)

    def register(self) -> None:
        """Register, or register anew: what waits is counted from 1 again, in the same order."""
        told = {"tablet": self.id} if self.id else {}
        answer = self.client.post("/api/v1/sync/tablets/", told)
        assert answer.status_code == 201, answer.content
        if answer.data["tablet"] != self.id:
            self.id = answer.data["tablet"]
            waiting = [row for row in self.rows if row.to_send]
            for place, row in enumerate(waiting, start=1):
                row.event |= {"tablet": self.id, "seq": place}
            self.seq = len(waiting)
        self._note(answer.data)

    def record(self, kind: str, payload: dict[str, Any], **more: Any) -> Row:
        """Keep an entry on the tablet."""
        self.seq += 1
        event = {
            "id": str(new_id()),
            "stream": "visit",
            "stream_id": str(self.visit),
            "visit": str(self.visit),
            "kind": kind,
            "version": 1,
            "tablet": self.id,
            "seq": self.seq,
            "ticket": self.ticket,
            **self.stamp(),
            "by": str(self.member.pk),
            "payload": payload,
            **more,
        }
        row = Row(event, made_at=self.world.at, contact=self.contact)
        self.rows.append(row)
        return row

    def stamp(self) -> dict[str, Any]:
        """Return the clocks as the tablet sees them."""
        wall = (self.world.at + self.wrong_by).isoformat()
        return {"wall": wall, "mono": int(self.awake.total_seconds() * 1000), "boot": self.boot}

    def body(self) -> dict[str, Any]:
        """Return the push that would go now."""
        events = [dict(row.event) for row in self.rows if row.to_send]
        return {"tablet": self.id, **self.stamp(), "events": events}

    def push(self, body: dict[str, Any]) -> Any:
        """Bring a push to the server and return its answer; the tablet has not read it yet."""
        return self.client.post(tablets.PUSH, json.dumps(body), content_type="application/json")

    def settle(self, answer: Any) -> None:
        """Read an answer: forget what was delivered, and send again what the server lost."""
        results = {one["id"]: one for one in answer["results"]}
        for row in self.rows:
            result = results.get(row.event["id"])
            if result is not None:
                first = result["status"] == "duplicate"
                row.status = result["first"] if first else result["status"]
            elif row.event["tablet"] == self.id and row.event["seq"] >= answer["next"]:
                row.status = "waiting"
        self._note(answer)

    def crash(self) -> None:
        """Start anew: the queue is there, the memory is not."""
        self.boot, self.awake = f"boot-{new_id()}", timedelta(0)

    def chunk(self, photo: Picture, size: int, fate: str) -> None:
        """Send a piece of a photo, from where the server stands."""
        begun = tablets.begin(self.client, photo.blob, photo.content)
        assert begun.status_code in (200, 201), begun.content
        at = int(begun["Upload-Offset"])
        assert at >= photo.offset, "the server lost what it said it had"
        photo.offset, photo.sent = at, at == len(photo.content)
        if photo.sent or fate == "lost":
            return
        piece = photo.content[at : at + size]
        digest = b64encode(hashlib.sha256(piece).digest()).decode()
        came = piece[::-1] if fate == "damaged" else piece
        sent = tablets.send(
            self.client, photo.blob, came, at, **{"Upload-Checksum": f"sha256 {digest}"}
        )
        assert sent.status_code == (460 if came != piece else 204), sent.content
        if fate == "good":
            photo.offset = int(sent["Upload-Offset"])
            photo.sent = photo.offset == len(photo.content)

    def _note(self, answer: Any) -> None:
        self.ticket = answer["ticket"]
        self.contact = datetime.fromisoformat(answer["server_time"])
