"""Worksheets of the plant."""
