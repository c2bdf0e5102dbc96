"""The embedded broker: messages as files in the data folder.

Kombu's filesystem transport with a few changes: a message appears whole or not at all, and it is
taken by a rename inside the same folder, so that two workers never read one message or half of one.
"""

import json
import os
import uuid
from queue import Empty
from time import time_ns
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem

SCHEME = "datafolder"
LONGEST_WAIT_SECONDS = 0.3
TRANSPORT_ALIASES[SCHEME] = "config.broker:Transport"


class Channel(filesystem.Channel):
    """A folder of messages, oldest first."""

    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]
        name = f"{time_ns():020d}_{uuid.uuid4()}"
        draft = os.path.join(self.data_folder_out, f"{name}.draft")
        with open(draft, "w") as file:
            json.dump(payload, file)
        os.rename(draft, os.path.join(self.data_folder_out, f"{name}.{queue}.msg"))

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        for name in sorted(os.listdir(self.data_folder_in)):
            if name.partition(".")[2] != f"{queue}.msg":
                continue
            waiting = os.path.join(self.data_folder_in, name)
            taken = f"{waiting}.taken"
            try:
                os.rename(waiting, taken)
            except FileNotFoundError:
                continue
            with open(taken) as file:
                payload = json.load(file)
            os.remove(taken)
            return payload
        raise Empty


class Transport(filesystem.Transport):
    """Kombu's filesystem transport over these channels."""

    Channel = Channel

    def drain_events(self, connection: Any, **kwargs: Any) -> Any:  # type: ignore[override]
        """Wait for a message, shortly: between two waits a worker looks whether it is to stop."""
        if kwargs.get("timeout") is not None:
            kwargs["timeout"] = min(kwargs["timeout"], LONGEST_WAIT_SECONDS)
        return super().drain_events(connection, **kwargs)  # type: ignore[no-untyped-call]
