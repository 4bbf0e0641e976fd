"""How many days an agreement wants between its visits, and whether two dates are too near."""

from servicedesk.common.recurrence import from_rule

TWICE_A_WEEK_DAYS = 2  # between the two visits of a week; common practice


def gap_days(rule: str) -> int:
    """The least days between two visits of a rule that comes more than once a week; 0 for all others.

    Twice a week keeps two days, or fewer where the rule itself names weekdays nearer than that. Three times and
    more want different days, no more.

    >>> gap_days("FREQ=WEEKLY;INTERVAL=1;BYDAY=TU,FR;WKST=MO")
    2
    """
    try:
        cadence = from_rule(rule)
    except ValueError:  # a rule that came from elsewhere says nothing we know
        return 0
    if cadence.unit == "days" and cadence.every < 7:
        return min(TWICE_A_WEEK_DAYS, max(cadence.every - 1, 1))
    if cadence.unit != "weeks" or cadence.every != 1 or len(cadence.weekdays) < 2:
        return 0
    if len(cadence.weekdays) > 2:
        return 1
    one, other = cadence.weekdays
    apart = abs(one - other)
    return min(TWICE_A_WEEK_DAYS, apart, 7 - apart)
