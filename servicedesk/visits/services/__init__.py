"""Changes of visits, by noun: schedule, form entries, sign-off, report."""
