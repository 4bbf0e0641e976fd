"""Outgoing mail: queue it with the change that causes it, send it from the worker, keep a log."""
