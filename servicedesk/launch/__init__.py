"""Starting Saltround on one machine: environment, private PostgreSQL and Redis, processes.

Only the standard library is imported here until the environment exists.
"""
