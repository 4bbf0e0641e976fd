"""Worksheets of the instruments."""
