"""Items, lots with expiry, places, and the double-entry ledger of moves between them."""
