"""Views of visits, by noun: the form, the visit's page, reports."""
