"""Views of clients, sites and agreements."""
