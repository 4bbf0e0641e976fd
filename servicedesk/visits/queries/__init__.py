"""Reads of visits, by noun: schedule, form."""
