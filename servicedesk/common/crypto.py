"""Secrets at rest: a text field kept encrypted with Fernet keys from the settings (first key encrypts)."""

from base64 import urlsafe_b64encode
from functools import lru_cache
from hashlib import sha256
from typing import Any

from cryptography.fernet import Fernet, MultiFernet
from django.conf import settings
from django.db import models


@lru_cache(maxsize=4)
def _fernet(keys: tuple[str, ...]) -> MultiFernet:
    return MultiFernet([Fernet(key) for key in keys])


def _current() -> MultiFernet:
    keys = tuple(settings.GATE_KEYS)
    if not keys:
        derived = sha256(b"gate-codes:" + settings.SECRET_KEY.encode()).digest()
        keys = (urlsafe_b64encode(derived).decode(),)
    return _fernet(keys)


def encrypt(text: str) -> str:
    return _current().encrypt(text.encode()).decode()


def decrypt(token: str) -> str:
    return _current().decrypt(token.encode()).decode()


class SecretTextField(models.TextField):  # type: ignore[type-arg]
    """Plain text in Python, ciphertext in the database; not searchable."""

    def get_prep_value(self, value: Any) -> Any:
        value = super().get_prep_value(value)
        return encrypt(value) if value else value

    def from_db_value(self, value: str | None, expression: object, connection: object) -> str | None:
        return decrypt(value) if value else value
