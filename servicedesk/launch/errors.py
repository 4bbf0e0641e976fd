"""What stops a start: one line that says the remedy."""


class LaunchError(Exception):
    """A start that cannot go on; the message is one line for the person at the keyboard."""
