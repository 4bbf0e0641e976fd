"""What runs short: reorder reminders from balances and planned use."""
