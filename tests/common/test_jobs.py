import pytest

from servicedesk.celery import app


@pytest.mark.parametrize(
    ("task", "queue"),
    [("routes.plan_week", "waited"), ("visits.render_report", "later"), ("common.send_mail", "later")],
)
def test_planning_does_not_wait_behind_documents(task: str, queue: str) -> None:
    """Workers empty the queues in the order in which they are named."""
    found = app.amqp.router.route({}, task)["queue"]
    assert (found.name, found.exchange.name, found.routing_key) == (queue, queue, queue)
    assert list(app.amqp.queues) == ["waited", "later"]
    assert app.conf.broker_transport_options["queue_order_strategy"] == "priority"
