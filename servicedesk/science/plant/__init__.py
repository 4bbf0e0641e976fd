"""The plant: heat, air, pipes, drains, loads, electricity, and what happens when it fails."""
