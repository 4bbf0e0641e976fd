"""The visit form: one JSON declaration per visit, the entries typed into it, and what they mean.

Everything here is data in, data out, so that a tablet can carry the same declaration offline.
"""
