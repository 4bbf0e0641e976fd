"""The weekly routing problem as a library: problem, plan, evaluator, search and independent checker. No framework.

``solve`` plans a ``Problem``; ``check`` verifies a ``Plan`` by separate code. Every time inside is an instant
(seconds since 1970 in UTC), every cost a whole number of thousandths of the currency, every length in metres.
"""
