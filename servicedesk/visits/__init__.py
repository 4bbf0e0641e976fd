"""Visits: recurrence, the visit form, sign-off and the frozen visit report."""
