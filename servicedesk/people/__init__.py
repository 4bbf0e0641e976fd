"""People: who may sign in, what they may do, when and with which van they work."""
