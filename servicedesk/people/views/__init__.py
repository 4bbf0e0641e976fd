"""Views of people: signing in and own settings; the register of people, vans and depots."""
