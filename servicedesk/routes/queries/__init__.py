"""Reads of the rounds: the planning problem, the week's board, a person's round, its load list."""
