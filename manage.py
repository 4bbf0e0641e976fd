#!/usr/bin/env python3
"""Saltround's command line. ``demo`` and ``test`` need nothing but Python 3.11: they make the rest."""

import os
import sys

MIN_PYTHON = (3, 11)


def main() -> int:
    if sys.version_info < MIN_PYTHON:
        print(f"Saltround needs Python 3.11 or newer; this is {sys.version.split()[0]}.", file=sys.stderr)
        return 1
    from servicedesk.launch import environment
    from servicedesk.launch.errors import LaunchError

    command = sys.argv[1] if len(sys.argv) > 1 else ""
    try:
        if command == "test":
            environment.enter(dev=True)
            from servicedesk.launch import testing

            return testing.main(sys.argv[2:])
        environment.enter(dev=False)
        if command == "demo":
            from servicedesk.launch import demo

            return demo.main(sys.argv[2:])
    except LaunchError as error:
        print(f"saltround: {error}", file=sys.stderr)
        return 1
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
    return 0


if __name__ == "__main__":
    sys.exit(main())
