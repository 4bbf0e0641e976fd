"""The demo firm: invented people, clients and sites, and a seeded year of visits, water and stock before today."""
