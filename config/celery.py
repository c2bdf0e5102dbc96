"""Background work: the Celery application and its one clock entry.

What has to be done stands in the outbox table; a message carries only a row's id, and a lost or
doubled message does no harm. So results are not kept, and messages are acknowledged late.
"""

import os
import warnings
from pathlib import Path
from typing import Any

from celery import Celery
from celery.signals import worker_init
from django.conf import settings
from kombu.entity import Exchange, Queue

from config import broker
from config.warm import warm

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

# The embedded service runs two workers: one where somebody waits for the answer, one for the rest.
QUICK_QUEUES = ("interactive",)
LONG_QUEUES = ("reports", "planning", "bulk")
LONGEST_TASK_SECONDS = 300


def embedded_broker(folder: Path) -> dict[str, Any]:
    """Return the settings that keep messages as files under `folder`, which is made."""
    messages, control = folder / "messages", folder / "control"
    for path in (messages, control):
        path.mkdir(parents=True, exist_ok=True, mode=0o700)
    return {
        "broker_url": f"{broker.SCHEME}://localhost",
        "broker_transport_options": {
            "data_folder_in": str(messages),
            "data_folder_out": str(messages),
            "control_folder": str(control),
            "polling_interval": 0.1,
        },
        "worker_enable_remote_control": False,
    }


def redis_broker(url: str) -> dict[str, Any]:
    """Return the settings for a Redis at `url`; what a killed worker held returns in 10 min."""
    return {
        "broker_url": url,
        "broker_transport_options": {
            "visibility_timeout": 2 * LONGEST_TASK_SECONDS,
            "unacked_restore_interval": 10,
            "unacked_restore_throttle": 1,
        },
    }


def _queue(name: str) -> Queue:
    # Named in full: Celery fills gaps with the default queue's, and every queue would get all.
    return Queue(name, Exchange(name, type="direct"), routing_key=name)  # type: ignore[no-untyped-call]


# Only JSON is accepted, so that no message can make a worker run code, root or not.
warnings.filterwarnings("ignore", message="You're running the worker with superuser")

app = Celery("maindrain")
app.conf.update(
    **(
        redis_broker(settings.BROKER_URL)
        if settings.BROKER_URL
        else embedded_broker(settings.DATA_DIR / "broker")
    ),
    beat_schedule={
        "wake-due": {
            "task": "contractors.tasks.wake_due",
            "schedule": 60.0,
            "options": {"queue": "interactive", "expires": 55},
        },
        "tick": {
            "task": "scheduling.tasks.tick",
            "schedule": 60.0,
            "options": {"queue": "bulk", "expires": 55},
        },
    },
    beat_schedule_filename=str(settings.DATA_DIR / "beat"),
    broker_connection_retry_on_startup=True,
    task_default_queue="interactive",
    task_queues=[_queue(name) for name in (*QUICK_QUEUES, *LONG_QUEUES)],
    task_create_missing_queues=False,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_ignore_result=True,
    task_time_limit=LONGEST_TASK_SECONDS,
    task_soft_time_limit=LONGEST_TASK_SECONDS - 20,
    task_serializer="json",
    accept_content=["json"],
    timezone=settings.TIME_ZONE,
    worker_hijack_root_logger=False,
    worker_max_tasks_per_child=50,
    worker_prefetch_multiplier=1,
)
app.autodiscover_tasks()


@worker_init.connect  # type: ignore[untyped-decorator]
def warm_up(sender: Any, **_kwargs: Any) -> None:
    """Load the heavy libraries once in a worker that does the long work, before it forks."""
    if set(LONG_QUEUES) & set(sender.app.amqp.queues.consume_from):
        warm()
