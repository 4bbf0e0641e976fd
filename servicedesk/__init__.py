"""Saltround: a service desk for firms that look after large living-reef aquariums."""
