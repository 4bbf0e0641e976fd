"""Worksheets: named calculations, each declared once for page, command line, reference and print."""
