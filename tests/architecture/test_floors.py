"""What the import checker cannot see: foreign keys and template includes point to the same floor or a lower one."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings

FLOORS = (
    ("setup",), ("billing", "stores"), ("routes",), ("visits",), ("care",), ("readings",), ("consumables",),
    ("installations",), ("clients",), ("people",), ("common",),
)  # fmt: skip
FLOOR = {room: height for height, rooms in enumerate(reversed(FLOORS)) for room in rooms}
TEMPLATES = Path(settings.BASE_DIR) / "templates"
INCLUDES = re.compile(r"""{%\s*(?:include|extends)\s+["']([a-z_]+)/""")


def may_use(room: str, other: str) -> bool:
    return other == room or other not in FLOOR or FLOOR[other] < FLOOR[room]


def foreign_keys() -> Iterator[tuple[str, str, str]]:
    for room in FLOOR:
        for model in apps.get_app_config(room).get_models():
            for field in model._meta.get_fields():
                if field.concrete and field.is_relation and field.related_model is not None:
                    related = field.related_model
                    assert not isinstance(related, str)
                    yield room, f"{model.__name__}.{field.name}", related._meta.app_label


def test_foreign_keys_point_down() -> None:
    assert [row for row in foreign_keys() if not may_use(row[0], row[2])] == []


def pages() -> list[Path]:
    return sorted(TEMPLATES.rglob("*.html"))


def test_templates_include_from_below() -> None:
    wrong = [
        (str(page.relative_to(TEMPLATES)), other)
        for page in pages()
        if (room := page.relative_to(TEMPLATES).parts[0]) in FLOOR
        for other in INCLUDES.findall(page.read_text("utf-8"))
        if not may_use(room, other)
    ]
    assert wrong == []


@pytest.mark.parametrize(
    "forbidden",
    [r"<style", r"\sstyle=", r"\son[a-z]+=", r"<script(?![^>]*\ssrc=)", r"https?://(?!www\.w3\.org)", r"hx-on"],
)
def test_pages_keep_the_content_security_policy(forbidden: str) -> None:
    """No inline script or style, and nothing from elsewhere. Papers (pdf/) are not served as pages."""
    found = [
        str(page.relative_to(TEMPLATES))
        for page in pages()
        if "pdf" not in page.parts and re.search(forbidden, page.read_text("utf-8"))
    ]
    assert found == []
