"""A tablet as the protocol sees it: it numbers entries, sends them, and keeps what is deferred."""

import hashlib
import io
import json
from base64 import b64encode
from typing import Any
from uuid import UUID

from PIL import Image

from contractors.models import new_id
from inspections import record
from inspections.events.envelope import check
from inspections.events.fold import shown_hash

WALL = "2026-11-25T09:05:00-05:00"
PUSH = "/api/v1/sync/push/"
STREAMS = {"finding.add": "finding", "impairment.notice": "impairment"}


class Tablet:
    """A registered tablet of one member, with the entries that it made."""

    def __init__(self, client: Any, member: Any) -> None:
        self.client, self.member = client, member
        answer = client.post("/api/v1/sync/tablets/", {"label": "test"})
        assert answer.status_code == 201, answer.data
        self.id, self.ticket = answer.data["tablet"], answer.data["ticket"]
        self.seq = 0
        self.mono = 1000

    def entry(self, visit: UUID, kind: str, payload: dict[str, Any], **more: Any) -> dict[str, Any]:
        """Return the next entry, numbered; nothing is sent."""
        self.seq += 1
        self.mono += 1000
        stream = STREAMS.get(kind, "visit")
        own = {"finding": payload.get("finding"), "impairment": payload.get("impairment")}
        return {
            "id": str(new_id()),
            "stream": stream,
            "stream_id": str(own.get(stream) or visit),
            "visit": str(visit),
            "kind": kind,
            "version": 1,
            "tablet": self.id,
            "seq": self.seq,
            "wall": WALL,
            "mono": self.mono,
            "boot": "boot-1",
            "ticket": self.ticket,
            "by": str(self.member.pk),
            "payload": payload,
            **more,
        }

    def batch(self, events: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
        """Return the body of a push."""
        clocks = {"boot": "boot-1", "mono": self.mono + 500, "wall": WALL}
        return {"tablet": self.id, **clocks, "events": events, **more}

    def push(self, *events: dict[str, Any]) -> list[dict[str, Any]]:
        """Send entries and return what became of each."""
        body = json.dumps(self.batch(list(events)))
        answer = self.client.post(PUSH, body, content_type="application/json")
        assert answer.status_code == 200, answer.content
        self.next = answer.data["next"]
        return list(answer.data["results"])

    def statuses(self, *events: dict[str, Any]) -> list[str]:
        """Send entries and return their statuses."""
        return [result["status"] for result in self.push(*events)]

    def hand_in(self, visit: UUID, entries: list[dict[str, Any]]) -> dict[str, Any]:
        """Return the entry that hands a visit in with everything that was recorded."""
        checked = [check(entry) for entry in entries]
        work = [event for event in checked if event.schema.work]
        photos = [e.payload["sha256"] for e in work if e.kind == "photo.attach"]
        manifest = {"events": [str(e.id) for e in work], "count": len(work), "photos": photos}
        return self.entry(visit, "visit.hand_in", {"manifest": manifest, "shown": shown_hash(work)})


def begin(client: Any, blob: str, content: bytes, sha256: str | None = None, **more: Any) -> Any:
    """Begin the upload of a photo."""
    told = {"blob": blob, "sha256": sha256 or hashlib.sha256(content).hexdigest()}
    pairs = [f"{name} {b64encode(value.encode()).decode()}" for name, value in told.items()]
    headers = {"Upload-Length": str(len(content)), "Upload-Metadata": ",".join(pairs), **more}
    return client.post("/api/v1/blobs/", headers=headers)


def send(client: Any, blob: str, chunk: bytes, at: int, **more: Any) -> Any:
    """Send a chunk of a photo."""
    kind = "application/offset+octet-stream"
    headers = {"Upload-Offset": str(at), **more}
    return client.patch(f"/api/v1/blobs/{blob}/", chunk, content_type=kind, headers=headers)


def upload(client: Any, blob: str, content: bytes, sha256: str | None = None) -> int:
    """Send a photo whole; return 201 when it was taken, 200 when it was here, or the refusal's."""
    begun: int = begin(client, blob, content, sha256).status_code
    if begun != 201:
        return begun
    sent: int = send(client, blob, content, 0).status_code
    return begun if sent == 204 else sent


def subject(scene: Any) -> dict[str, str]:
    return {"kind": "riser", "id": str(scene.wet_riser.pk)}


def reading(tablet: Tablet, scene: Any, visit: UUID, name: str, psi: str) -> dict[str, Any]:
    payload = {
        "subject": subject(scene),
        "activity": "main-drain-annual",
        "name": name,
        "typed": f"{psi} psi",
        "value": {"value": psi, "unit": "psi"},
    }
    return tablet.entry(visit, "reading.add", payload)


def answer(tablet: Tablet, scene: Any, visit: UUID, word: str, **more: Any) -> dict[str, Any]:
    payload = {"subject": subject(scene), "activity": "main-drain-annual", "answer": word}
    return tablet.entry(visit, "item.set", payload, **more)


def opened(tablet: Tablet, visit: UUID) -> dict[str, Any]:
    return tablet.entry(visit, "visit.open", {"at": WALL, "contact": "the caretaker"})


def worked(tablet: Tablet, scene: Any, visit: UUID) -> list[dict[str, Any]]:
    """Return a whole visit of one main drain test, ready to be signed."""
    return [opened(tablet, visit), *tested(tablet, scene, visit)]


def tested(tablet: Tablet, scene: Any, visit: UUID) -> list[dict[str, Any]]:
    """Return the main drain test alone."""
    return [
        reading(tablet, scene, visit, "static_pressure", "82"),
        reading(tablet, scene, visit, "residual_pressure", "64"),
        answer(tablet, scene, visit, "pass"),
    ]


def signed(tablet: Tablet, visit: UUID, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the signatures of a visit."""
    shown = shown_hash(check(entry) for entry in entries)
    return [
        tablet.entry(visit, "signature.add", {"role": "technician", "name": "Sam", "shown": shown}),
        tablet.entry(
            visit,
            "signature.add",
            {"role": "absent", "reason": "the caretaker had left", "shown": shown},
        ),
    ]


def planned(scene: Any, **more: Any) -> Any:
    """Return a planned visit of the technician: a main drain test of the wet riser."""
    from inspections.models import Visit, VisitLine

    with scene.scope():
        visit = Visit.objects.create(
            building=scene.building,
            technician=scene.people["technician"],
            planned_on=more.pop("planned_on", None) or _today(),
            **{"title": "Main drain", **more},
        )
        VisitLine.objects.create(
            visit=visit,
            system=scene.wet,
            subject_kind="riser",
            subject_id=scene.wet_riser.pk,
            activity="main-drain-annual",
            minutes=15,
        )
    return visit


def _today() -> Any:
    from django.utils import timezone

    return timezone.now().date()


def cancel(scene: Any, visit: Any) -> None:
    """Cancel a visit at the desk."""
    with scene.scope():
        payload = {"reason": "weather"}
        entry = record.visit_entry(visit, "visit.cancel", payload, by=scene.manager)
        record.append([entry], via="page", by=scene.manager)


def picture(colour: str = "red") -> bytes:
    """Return a small photo."""
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, "JPEG")
    return out.getvalue()


def attached(tablet: Tablet, ours: Any, visit: Any, content: bytes) -> tuple[str, dict[str, Any]]:
    """Return the id of a photo's bytes, and the entry that tells of it."""
    blob = str(new_id())
    payload = {
        "blob": blob,
        "sha256": hashlib.sha256(content).hexdigest(),
        "size": len(content),
        "media_type": "image/jpeg",
        "subject": subject(ours),
    }
    return blob, tablet.entry(visit.pk, "photo.attach", payload)
