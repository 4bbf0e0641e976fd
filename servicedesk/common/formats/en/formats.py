"""Unambiguous dates: Tue 1 Dec 2026."""

DATE_FORMAT = "D j M Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "D j M Y, H:i"
SHORT_DATETIME_FORMAT = "j M, H:i"
TIME_FORMAT = "H:i"
FIRST_DAY_OF_WEEK = 1
DATE_INPUT_FORMATS = ["%Y-%m-%d", "%d %b %Y", "%a %d %b %Y", "%d %B %Y"]
TIME_INPUT_FORMATS = ["%H:%M", "%H:%M:%S", "%H.%M"]
