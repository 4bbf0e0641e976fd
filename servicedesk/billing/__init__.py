"""Accounts: reports to send, invoices, payments."""
