"""Clients, their sites with access, and the agreements that say what they bought."""
