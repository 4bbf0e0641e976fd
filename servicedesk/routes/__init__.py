"""The week: plans, rounds and stops, and each technician's round of the day."""
