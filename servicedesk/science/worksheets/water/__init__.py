"""Worksheets of the water."""
