"""Background work with a real worker, by files on SQLite and by Redis on PostgreSQL."""

from queue import Empty

import pytest
from kombu import Connection

from tests import databases, scene, servers


def test_a_worker_sends_what_was_written_with_the_change(worker):
    from contractors import notices
    from contractors.models import Notice

    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    with ours.scope():
        notice = notices.send(
            "told",
            kind="finding.told",
            to="desk@mill.example",
            subject="Valve",
            body="It is shut.",
            urgent=True,
        )

    def is_kept():
        with ours.scope():
            return Notice.objects.get(pk=notice.pk).state == Notice.State.KEPT

    servers.until(is_kept, what="the notice kept by the worker")


def test_a_message_reaches_only_its_own_queue():
    from config.celery import LONG_QUEUES, QUICK_QUEUES, app

    with Connection("memory://") as connection:
        channel = connection.channel()
        for queue in app.conf.task_queues:
            queue(channel).declare()
        app.send_task("contractors.tasks.wake_due", queue="reports", connection=connection)
        waiting = {
            name: channel.basic_get(name) is not None for name in (*QUICK_QUEUES, *LONG_QUEUES)
        }
    assert waiting == {"interactive": False, "reports": True, "planning": False, "bulk": False}


def test_files_of_the_embedded_broker_come_out_whole_and_in_order(tmp_path):
    from config.celery import embedded_broker

    conf = embedded_broker(tmp_path)
    options = conf["broker_transport_options"]
    with Connection(conf["broker_url"], transport_options=options) as connection:
        sent = [{"number": number} for number in range(5)]
        with connection.SimpleQueue("of_this_test") as queue:
            for body in sent:
                queue.put(body)
        (tmp_path / "messages" / "0_half-written.draft").write_text('{"half')
        with connection.SimpleQueue("of_this_test") as queue:
            assert [queue.get(timeout=60).payload for _ in sent] == sent
            with pytest.raises(Empty):
                queue.get(block=False)


def test_the_broker_is_the_one_that_this_run_is_about():
    from config.celery import app

    scheme = app.conf.broker_url.partition(":")[0]
    assert scheme == ("redis" if databases.on_postgres() else "datafolder")
