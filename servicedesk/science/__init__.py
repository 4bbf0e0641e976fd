"""The trade's computation as a library: pure Python, no Django. Canonical units are in the names."""
