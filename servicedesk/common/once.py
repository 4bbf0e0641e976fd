"""A form sent twice makes one record: its token is used up in the transaction that makes the record."""

from servicedesk.common.models import FormToken


def once(token: str, kind: str, made: object = None) -> str | None:
    """The key of what this token made before, or None. With ``made``, note what it makes now.

    Call inside a transaction: the first call locks the token against a second sender.
    """
    row, _created = FormToken.objects.select_for_update().get_or_create(token=token, kind=kind)
    if made is not None:
        row.made = str(made)
        row.save(update_fields=["made"])
        return None
    return row.made or None
